"""The rooms of steps for `python -m tests.benchmarks mutants`: per room its tests, and ten functions, spread by what a
fault in them would cost. Each room has lines of its own, so that two people can fill two of them side by side."""

from __future__ import annotations

Room = tuple[list[str], dict[str, list[str]]]

# Who may, at which stage, the line in the journal, the letters, the second time: a row per verb, of every room. Slow:
# `--fast` leaves it out.
EACH_VERB = "tests/steps/test_each_verb.py"

STEPS: dict[str, Room] = {}


# planning

STEPS["steps/planning"] = (
    ["tests/steps/planning", EACH_VERB],
    {
        "steps.planning.sitting_plan": ["create_sitting", "_check_names", "edit_sitting", "add_reference",
                                        "remove_reference", "comment"],
    },
)  # fmt: skip


# ingesting

STEPS["steps/ingesting"] = (
    ["tests/steps/ingesting"],
    {
        "steps.ingesting.incoming": ["arriving", "_take", "sweep"],
        "steps.ingesting.ingest": ["add_frame", "frame_number", "files_in"],
        "steps.ingesting.proof": ["_sort_after_the_last", "restamp_all"],
        "steps.ingesting.watch": ["Watcher.look", "Watcher._take"],
    },
)


# sorting

STEPS["steps/sorting"] = (
    ["tests/steps/sorting", EACH_VERB],
    {
        "steps.sorting.boundaries": ["look_before", "move_start"],
        "steps.sorting.contact": ["contact_sheet"],
        "steps.sorting.looks": ["_neighbours_look", "edit_look", "split", "merge"],
        "steps.sorting.sort": ["place", "_beside_hands"],
        "steps.sorting.take_back": ["_put_frames_back"],
    },
)


# picking

STEPS["steps/picking"] = (
    ["tests/steps/picking", EACH_VERB],
    {
        "steps.picking.intents": ["put", "_counts_from", "_merge"],
        "steps.picking.pick": ["_set_all", "_put", "_after", "set_order", "counts"],
        "steps.picking.kept": ["held", "let_go"],
    },
)


# agreeing

STEPS["steps/agreeing"] = (
    ["tests/steps/agreeing", EACH_VERB],
    {
        "steps.agreeing.agree": ["tally", "_kept_back", "_places", "coverage", "_uncovered", "close", "_wanted",
                                 "reopen", "publish"],
        "steps.agreeing.sidecars": ["sidecars"],
    },
)  # fmt: skip


# demo

STEPS["steps/demo"] = (
    ["tests/steps/demo"],
    {
        "steps.demo.demo_finishing": ["prepare", "_finish", "_deliver_first"],
        "steps.demo.demo_sitting": ["prepare", "photographer", "bring_in", "wait_for_jobs", "_name_looks", "links_of",
                                    "_opens"],
    },
)  # fmt: skip


# finishing

STEPS["steps/finishing"] = (
    ["tests/steps/finishing/test_finishing_rules.py", "tests/steps/finishing/test_sending.py", EACH_VERB],
    {
        "steps.finishing.approvals": ["approve", "send_back", "standing", "deliver_as_it_is"],
        "steps.finishing.match": ["by_name", "_by_picture"],
        "steps.finishing.notes": ["pin_note"],
        "steps.finishing.sending": ["send", "_let_out"],
        "steps.finishing.versions": ["settle_stray"],
    },
)


# delivering

DELIVERING = ("delivering_rules", "licences", "naming", "file_order")

STEPS["steps/delivering"] = (
    [*(f"tests/steps/delivering/test_{name}.py" for name in DELIVERING), EACH_VERB],
    {
        "steps.delivering.cut": ["_approved", "_carried", "_checked"],
        "steps.delivering.file_order": ["_bad_field"],
        "steps.delivering.licences": ["has_accepted"],
        "steps.delivering.offer": ["_let_out", "check_fetch"],
        "steps.delivering.orders": ["prepare"],
        "steps.delivering.receipts": ["record"],
        "steps.delivering.usage": ["grant"],
    },
)


# keeping

KEEPING = ("archive_checks", "archive_rows", "archive_shape", "erase_letters", "keeping_rules", "removal")

STEPS["steps/keeping"] = (
    [*(f"tests/steps/keeping/test_{name}.py" for name in KEEPING), EACH_VERB],
    {
        "steps.keeping.archive_file": ["checked_files"],
        "steps.keeping.archive_shape": ["entries", "_row"],
        "steps.keeping.erase": ["erase_by_the_clock", "_remove_letters"],
        "steps.keeping.inventory": ["_compare_one"],
        "steps.keeping.own_copy": ["ask", "check_fetch"],
        "steps.keeping.removal": ["_may_go"],
        "steps.keeping.restore": ["_put_row"],
    },
)


# people

STEPS["steps/people"] = (
    ["tests/steps/people", EACH_VERB],
    {
        "steps.people.account": ["change_data"],
        "steps.people.asked": ["unanswered"],
        "steps.people.invite": ["_let_in", "pass_on", "mail_sign_in_link"],
        "steps.people.passkeys": ["open_with"],
        "steps.people.posting": ["send", "_step"],
        "steps.people.second_factor": ["_try_app", "remove"],
    },
)


# What lies in no room: jobs, limits, setbacks, derived pictures.

STEPS["steps"] = (
    [f"tests/steps/test_{name}.py" for name in ("jobs", "job_states", "derived", "setbacks")],
    {
        "steps.derived": ["Derived.fetched", "place"],
        "steps.jobs": ["enqueue", "silent", "owner_is_dead", "claim", "_settle", "_put_back", "sweep"],
        "steps.setbacks": ["_is_away"],
    },
)
