"""Which retouches of portraits are cautioned, honest ones and others; and what one comparison costs.

Portraits: ../shared/data/portraits (Face Research Lab London Set, DeBruine and Jones, CC BY 4.0). The thresholds were
set on those of even place in the order of their names; `--of held` (the default) reads the others.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from pathlib import Path

from galleries.imaging.comparing.amounts import KIND, USUAL, Changes
from galleries.imaging.comparing.changes import changes_between
from galleries.imaging.comparing.patches import Open
from galleries.imaging.face.faces import find_faces
from tests import face_retouches, retouches

PORTRAITS = Path(__file__).resolve().parents[3] / "shared" / "data" / "portraits"


def main(argv: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="true_to_life", description=__doc__)
    parser.add_argument("--of", choices=("held", "tuned"), default="held")
    parser.add_argument("--most", type=int, default=13, help="portraits")
    parser.add_argument("--portraits", type=Path, default=PORTRAITS, help="folder")
    parser.add_argument("--kinds", nargs="*", default=[], help="only what changes these (skin, irises, …); none honest")
    options = parser.parse_args(argv)
    honest = {} if options.kinds else face_retouches.HONEST
    untrue = {
        name: row for name, row in face_retouches.UNTRUE.items() if not options.kinds or {*row[1]} & {*options.kinds}
    }
    paths = sorted(options.portraits.glob("*.jpg"))[1 if options.of == "held" else 0 :: 2][: options.most]
    told, nearest = Counter[str](), dict[str, float]()
    seconds, compared = 0.0, 0
    for path in paths:
        rgb = retouches.opened(path.read_bytes())
        face = find_faces(rgb).face
        assert face is not None, path
        for name, retouch in honest.items():
            version = retouch(rgb, face)
            start = time.process_time()
            amounts = changes_between(Open(rgb, 1.0), Open(version, 1.0), face)
            seconds, compared = seconds + time.process_time() - start, compared + 1
            if amounts is None or amounts.beyond():
                told[name] += 1
                print(f"{path.stem} {name}: {amounts.beyond() if amounts else 'not laid over'}", flush=True)
            nearest[name] = max(nearest.get(name, 0.0), _share(amounts))
        for name, (retouch, kinds) in untrue.items():
            version = retouch(rgb, face)
            start = time.process_time()
            amounts = changes_between(Open(rgb, 1.0), Open(version, 1.0), face)
            seconds, compared = seconds + time.process_time() - start, compared + 1
            share = _share(amounts, kinds)
            told[name] += share > 1
            nearest[name] = min(nearest.get(name, 99.0), share)
    print(f"{len(paths)} portraits; {seconds / compared:.2f} s of CPU a comparison")
    for title, names in (("honest", honest), ("no longer true", untrue)):
        print(f"\n{title}: cautioned, and the amount nearest to its threshold as a multiple of it")
        for name in names:
            print(f"  {name:36} {told[name]:3} of {len(paths)}   {nearest[name]:.2f}")
    return 0


def _share(amounts: Changes | None, kinds: tuple[str, ...] = tuple(USUAL)) -> float:
    """The largest amount of the kinds as a multiple of its threshold."""
    if amounts is None:
        return 0.0
    return max((abs(v) / USUAL[KIND[k]] for k, v in amounts.amounts.items() if KIND.get(k) in kinds), default=0.0)
