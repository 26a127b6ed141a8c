"""Makes an embedded site ready in one process, since loading Django takes longer than most of it: the tables, the
delivery sizes, the static files, then the demo while the worker starts.

Run by deploy/supervise.py inside the environment. Progress is a line at a time on standard error, of which it starts
the worker at `WORKER`; the people's links are one line of JSON on standard output.
"""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
WITHOUT_DEMO = "--without-demo"
TABLES = "Bringing the tables up to date"
STATIC = "Collecting static files"
WORKER = "Starting the worker"
DEMO = "Looking after the demo sitting (painted once, in under two minutes)"
STEPS = (TABLES, STATIC, WORKER, DEMO)


def make_ready(with_demo: bool) -> None:
    """Each step looks first what is there already.

    Raises:
        CommandError: a step failed, or the site's settings are not to be run with.
    """
    from django.core.checks import Tags
    from django.core.management import call_command

    from galleries import checks

    def progress(line: str) -> None:
        print(line, file=sys.stderr, flush=True)

    progress(TABLES)
    # The site's own and those of the database. Django's others look at the code, which is the same on every site, and
    # load every page for it; deploy/test makes them all.
    call_command("check", tags=[checks.OWN], stdout=io.StringIO())
    call_command("migrate", interactive=False, verbosity=0)
    call_command("check", tags=[Tags.database], databases=["default"], stdout=io.StringIO())
    call_command("sizes", stdout=io.StringIO())
    progress(STATIC)
    call_command("collectstatic", interactive=False, verbosity=0)
    progress(WORKER)
    if with_demo:
        progress(DEMO)
        call_command("demo", json=True)
    else:
        print('{"links": {}}')


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(WITHOUT_DEMO, action="store_true")
    options = parser.parse_args()
    sys.path.insert(0, str(ROOT))
    import django
    from django.core.management import CommandError

    django.setup()
    try:
        make_ready(with_demo=not options.without_demo)
    except CommandError as error:
        print(error, file=sys.stderr, flush=True)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
