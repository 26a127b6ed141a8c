"""The rooms of steps for `python -m tests.benchmarks mutants`: per room its tests, and ten functions, spread by what a
fault in them would cost. Each room has lines of its own, so that two people can fill two of them side by side."""

from __future__ import annotations

Room = tuple[list[str], dict[str, list[str]]]

# Who may, at which stage, the line in the journal, the letters, the second time: a row per verb, of every room. Slow:
# `--fast` leaves it out.
EACH_VERB = "tests/steps/test_each_verb.py"

STEPS: dict[str, Room] = {}


# planning

STEPS["steps/planning"] = (["tests/steps/planning", EACH_VERB], {})


# ingesting

STEPS["steps/ingesting"] = (["tests/steps/ingesting", EACH_VERB], {})


# sorting

STEPS["steps/sorting"] = (["tests/steps/sorting", EACH_VERB], {})


# picking

STEPS["steps/picking"] = (
    ["tests/steps/picking", EACH_VERB],
    {
        "steps.picking.pick": ["_set_all", "_put", "_act", "_counts_from", "_merge", "_after", "set_order", "counts"],
        "steps.picking.kept": ["held", "let_go"],
    },
)


# agreeing

STEPS["steps/agreeing"] = (["tests/steps/agreeing", EACH_VERB], {})


# demo

STEPS["steps/demo"] = (["tests/steps/demo", EACH_VERB], {})


# finishing

STEPS["steps/finishing"] = (["tests/steps/finishing", EACH_VERB], {})


# delivering

STEPS["steps/delivering"] = (["tests/steps/delivering", EACH_VERB], {})


# keeping

STEPS["steps/keeping"] = (["tests/steps/keeping", EACH_VERB], {})


# people

STEPS["steps/people"] = (["tests/steps/people", EACH_VERB], {})


# What lies in no room: jobs, limits, setbacks, derived pictures.

STEPS["steps"] = (["tests/steps/test_jobs.py"], {})
