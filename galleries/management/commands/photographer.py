"""manage.py photographer: an account for somebody who photographs here, with a link to come in by."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError

from galleries.management.trade import TradeCommand

LINK_MINUTES = 24 * 60


class Command(TradeCommand):
    help = """Make an account for a photographer and print a link that signs them in once, within a day.

It is an account for the work of every day, no superuser; the person sets a password and a second factor on their own
page. The first account runs the studio, another does so with --head; more are invited on the page Studio. --upkeep lets
it use the pages of upkeep as well, which nobody needs for work on sittings.
--drop-second-factor takes the second factor off an account whose phone and recovery codes are lost; make sure by
voice or by sight who asks for it."""
    example = "manage.py photographer tamsin --email tamsin@northlight.example --name 'Tamsin Orr'"

    def add_arguments(self, parser: ArgumentParser) -> None:
        super().add_arguments(parser)
        parser.add_argument("username", help="the name to sign in with")
        parser.add_argument("--email", default="", help="where links to sign in go")
        parser.add_argument("--name", default="", help="first and last name, as others shall read them")
        parser.add_argument("--upkeep", action="store_true", help="may use the pages of upkeep")
        parser.add_argument("--head", action="store_true", help="runs the studio, as the first account does")
        parser.add_argument("--drop-second-factor", action="store_true", help="of an account that there is")

    def work(self, options: dict[str, Any]) -> Any:
        from galleries.steps.people import account, second_factor
        from galleries.steps.people import invite as invites

        if options["drop_second_factor"]:
            name = second_factor.drop(options["username"]).get_username()
            self.tell(options, f"{name} comes in without a second factor again; every session of theirs is ended")
            return {"account": name, "second_factor": False}
        if not options["email"]:
            raise CommandError("--email is missing: links to sign in go there.")
        rights = {"upkeep": options["upkeep"], "head": options["head"]}
        person = account.make(options["username"], options["email"], options["name"], **rights)
        link = invites.sign_in_link(user=person, minutes=LINK_MINUTES)
        self.tell(options, f"{person.get_username()} may come in, once and within a day, by {link}")
        return {"account": person.get_username(), "link": link}
