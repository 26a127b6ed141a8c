"""The sentences of what papers tell (`galleries.papers.codes`)."""

from __future__ import annotations

from django.utils.translation import gettext_noop as _

from galleries.papers.codes import Code

SENTENCES: dict[str, str] = {
    Code.NOT_NAMED_LICENCE: _("The licence has no number."),
    Code.NOT_NAMED_PHOTOGRAPHER: _("The licence does not name its photographer."),
    Code.NOT_NAMED_SUBJECT: _("The licence does not name its subject."),
    Code.NOT_NAMED_TERRITORY: _("The licence does not name its territory."),
    Code.USE: _("“%(use)s” is not a known use; known are %(known)s."),
    Code.ALTERATION: _("“%(alteration)s” is not a known alteration; known are %(known)s."),
    Code.NO_USE: _("The licence allows no use at all; choose at least one."),
    Code.ENDS_FIRST: _("The licence ends on %(ends_day)s, before it starts on %(starts_day)s."),
    Code.NO_CREDIT_LINE: _("A credit is required, but the credit line is empty."),
    Code.DATA_MINING: _("“%(value)s” is not a PLUS data-mining code."),
    Code.NO_CONSTRAINT: _("The data-mining reservation points to a constraint, but none is written."),
    Code.MODEL_RELEASE: _("“%(value)s” is not a PLUS model-release code."),
    Code.NOT_READ: _("A release without limits may be claimed only when somebody has read it; name who did."),
    Code.RELEASE_NEEDED: _("A headshot shows a person, so “release does not apply” cannot be right."),
    Code.NO_GUARDIAN: _("The subject is a minor; name the parent or guardian who consented."),
    Code.NO_CONSENT_DAY: _("The subject is a minor; the day the guardian's consent was recorded is missing."),
    Code.AGE: _("An age is kept for minors only, and must be under 18."),
    Code.NO_PRINTS: _("This licence does not include prints, so no print release can be made from it."),
    Code.FILE_FORMAT: _("This is not a licence file this program can read: format %(format)s, version %(version)s."),
    Code.FILE_UNKNOWN: _("The licence file holds terms this program does not know: %(terms)s."),
    Code.FILE_INCOMPLETE: _("The licence file is incomplete (%(what)s)."),
    Code.FILE_UNREADABLE: _("The licence file cannot be read (%(what)s)."),
}
