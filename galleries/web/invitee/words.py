"""The words that the scripts of the sheet speak. {braces} are filled in there (and here, for the first label)."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

from django.utils import translation
from django.utils.translation import gettext as _

from galleries.web.invitee import without_network

if TYPE_CHECKING:
    from galleries.steps.picking.pick import Count


def frame_words() -> dict[str, str]:
    """The parts of a frame's label: 'frame 0123, look 2, picked by you, shortlisted by …'."""
    return {
        "frame": _("frame {label}"),
        "look": _("look {n}"),
        "no_look": _("in no look yet"),
        "no_mark": _("no mark yet"),
        "my_pick": _("picked by you"),
        "my_alternate": _("alternate for you"),
        "my_strike": _("struck by you"),
        "subject_pick": _("picked by {who}"),
        "representation_pick": _("shortlisted by {who}"),
        "their_alternate": _("alternate for {who}"),
        "their_strike": _("struck by {who}"),
        "noted": _("with your note"),
        "run": _("one of {n} nearly the same"),
        "suggested": _("suggested by the studio"),
    }


def label_of(
    words: dict[str, str],
    label: str,
    look: int | None,
    mine: str,
    theirs: list[tuple[str, str, str]],
    *,
    noted: bool = False,
    alike: int = 0,
    suggested: bool = False,
) -> str:
    """What a screen reader hears. `theirs` are (role, kind, name); the script's `sentence` says the same."""
    parts = [words["frame"].format(label=label), words["look"].format(n=look) if look else words["no_look"]]
    if mine:
        parts.append(words[f"my_{mine}"])
    for role, kind, who in theirs:
        key = f"{role}_pick" if kind == "pick" else f"their_{kind}"
        parts.append(words[key].format(who=who))
    if len(parts) == 2:
        parts.append(words["no_mark"])
    if noted:
        parts.append(words["noted"])
    if alike > 1:
        parts.append(words["run"].format(n=alike))
    if suggested:
        parts.append(words["suggested"])
    return ", ".join(parts)


def allowance_said(words: dict[str, str], count: Count, *, choosing: bool) -> str:
    """How far a person is, as the sheet's script says it while they go on (`sheet.js`, `count`). The page comes with
    it, so that nothing on the tray moves when the script says the same."""
    if not choosing:
        which = "picked_closed" if count.picks else "none_picked_closed"
    elif count.picks == 0:
        which = "none_picked"
    else:
        which = "over" if count.over else "left" if count.left else "full"
    if count.allowance == 1:
        which = f"{which}_one" if f"{which}_one" in words else which
    return words[which].format(picks=count.picks, allowance=count.allowance, left=count.left, over=count.over)


@lru_cache(maxsize=8)
def words_in(language: str) -> dict[str, str]:
    """As `sheet_words`, in one language, asked of the catalogue once."""
    with translation.override(language):
        return sheet_words()


def sheet_words() -> dict[str, Any]:
    return {
        **frame_words(),
        "press_pick": _("Pick {label}"),
        "press_alternate": _("Alternate {label}"),
        "press_strike": _("Strike {label}"),
        "pick": _("Pick"),
        "alternate": _("Alternate"),
        "strike": _("Strike"),
        "said_pick": _("{label} picked."),
        "said_alternate": _("{label} is an alternate."),
        "said_strike": _("{label} struck."),
        "said_none": _("{label}: mark taken away."),
        "said_undone": _("Taken back: {label}."),
        "nothing_to_undo": _("There is nothing left to take back."),
        "none_picked": _("Nothing picked yet; {allowance} finals are included."),
        "none_picked_one": _("Nothing picked yet; {allowance} final is included."),
        "left": _("{picks} of {allowance} picked, {left} left."),
        "full": _("{picks} of {allowance} picked: just right."),
        "over": _("{picks} picked, {over} more than the {allowance} included. That is allowed; go on choosing."),
        "over_costs": _("If all of them come on the list, that is {sum}."),
        "picked_closed": _("The list is closed. Picked by you: {picks}."),
        "none_picked_closed": _("The list is closed. You picked nothing."),
        "look_none": _("nothing picked in this look"),
        "look_some": _("{n} picked in this look"),
        "unsent": _("{n} not sent yet; kept on this device until the network is back."),
        "sending": _("Sending {n} …"),
        "unsent_shut": _("{n} not sent; kept on this device. The reason stands here."),
        "held_here": _("{n} not taken; kept on this device. What to do stands here."),
        "sent": _("Everything is sent."),
        "offline": _("No network. Go on marking: nothing is lost."),
        "no_store": _("This browser keeps nothing, so stay on the page until everything is sent."),
        "closed": _("The list was closed meanwhile. Your marks of before are kept; new ones are not taken any more."),
        "closed_now": _("The list is closed, so marks can no longer change."),
        "held": _("Not taken, because the list is closed: {frames}. They stay on this device."),
        "held_one": _("Not taken, because the list is closed: {frames}. It stays on this device."),
        "forget": _("Forget them"),
        "forget_one": _("Forget it"),
        "refused": _("{label}: {error}"),
        "gone_mark": _("{label} is not on your sheet any more, so your mark on it was not taken."),
        "gone_note": _(
            "{label} is not on your sheet any more, so your note on it was not sent. Your words stay on this device:"
        ),
        "forget_words": _("I do not need them any more"),
        "other_device": _("{label}: a later mark of yours from another device stands ({kind})."),
        "kind_none": _("no mark"),
        "conflict": _("Your note on {label} was changed meanwhile, on another device."),
        "theirs_note": _("It says now:"),
        "mine_note": _("You wrote here:"),
        "keep_theirs": _("Keep what it says now"),
        "keep_mine": _("Put mine in its place"),
        "fresh": _("{n} new frames. Show them"),
        "fresh_one": _("1 new frame. Show it"),
        "gone": _("{label} was taken off the sheet by the studio."),
        "gone_many": _("{labels} were taken off the sheet by the studio."),
        "came_up": _("{label} is shown now."),
        "gone_writing": _("{label} is not on your sheet any more. What you are writing stays here."),
        "moved": _("Frames have just moved up, so nothing was marked. Look, then press again."),
        "access_lost": _("Your link does not open this sitting any more. What is not sent stays on this device."),
        "again": _("Send me my link again"),
        "place": _("{i} of {n}"),
        "zoom_in": _("Close on the eyes"),
        "zoom_out": _("Whole frame"),
        # xgettext:no-python-format
        "percent": _("{n} % of the camera’s pixels"),
        "monochrome": _("Black and white"),
        "colour": _("Colour"),
        "no_crop": _("no crop shown"),
        "crop_estimated": _("The place of the face is not known; this crop is the middle of the frame."),
        "remark_empty": _("Nothing has been said about this frame yet."),
        "saved": _("Note kept."),
        "saved_alone": _("Note kept; the studio alone reads it."),
        "select_more": _("Choose two or more frames."),
        "selected": _("{n} chosen"),
        "none_alike": _("No other frame is nearly the same as this one."),
        "small_only": _("The large picture cannot be fetched now; this is the small one."),
        "no_eyes": _("The eyes of this frame are not known, so its face cannot be the measure."),
        "middle_only": _("The sharpest picture cannot be fetched now; this one is a little softer."),
        "through_waits": _("You are through. The others are told as soon as the network is back."),
        "through_said": _("You are through, and everybody sees it."),
        "through_change": _("You may still change your mind until the list is closed."),
        "picked_n": _("{n} picked"),
        **without_network.words(),
        "works_without": _("Sheet and plan open without it, and marks wait on this device until it is back."),
        "to_the_sheet": _("Back to the sheet"),
        "all_frames": _("Show all frames"),
        "failed": _("The server could not be reached. Try again."),
    }
