#!/usr/bin/env python3
"""Wraps sentences of templates that are wider than a line, as `{% blocktranslate trimmed %}`; msgids stay.

deploy/wrap_sentences.py FILE...
"""

import re
import sys
import textwrap
from pathlib import Path

WIDTH = 120
WORTH_IT = 70  # a shorter sentence is not what makes the line wide
SENTENCE = re.compile(
    r"""\{%\ translate\ (?P<quote>["'])(?P<plain>(?:(?!(?P=quote)).)*)(?P=quote)\ %\}
    |\{%\ blocktranslate(?P<options>(?:\ [^%]*?)?)\ %\}
      (?P<block>(?:(?!\{%\ endblocktranslate\ %\}).)*)\{%\ endblocktranslate\ %\}""",
    re.VERBOSE,
)


def wrapped(text: str, indent: int) -> list[str]:
    """The words of a sentence in lines; a value in braces stays in one piece."""
    whole = re.sub(r"\{\{.*?\}\}", lambda value: value[0].replace(" ", "\0"), text.strip())
    lines = textwrap.wrap(whole, WIDTH - indent, break_long_words=False, break_on_hyphens=False)
    return [" " * indent + line.replace("\0", " ") for line in lines]


def narrower(line: str) -> str:
    """The line with its longest sentence wrapped, or the line itself where nothing can be done."""
    sentences = [one for one in SENTENCE.finditer(line) if len(one[0]) > WORTH_IT]
    if len(line) <= WIDTH or not sentences:
        return line
    sentence = max(sentences, key=lambda one: len(one[0]))
    options = (sentence["options"] or "").replace(" trimmed", "")
    parts = [sentence["plain"]] if sentence["quote"] else sentence["block"].split("{% plural %}")
    trimmed = " trimmed" in (sentence["options"] or "")
    # An inner attribute holds no lines; white space at a sentence's end belongs to its msgid where it is not trimmed.
    inside_attribute = re.search(r"""=["'][^"'>]*$""", line[: sentence.start()])
    escaped = sentence["quote"] and re.search(r"[%\\]", sentence["plain"])  # would be another msgid in a block
    if (
        inside_attribute
        or escaped
        or " asvar" in options
        or not (trimmed or all(part == part.strip() for part in parts))
    ):
        return line
    indent = len(line) - len(line.lstrip())
    lines: list[str] = []
    for part in parts:
        lines += [" " * indent + "{% plural %}"] if lines else []
        lines += wrapped(part, indent + 2)
    opening, closing = f"{{% blocktranslate{options} trimmed %}}", " " * indent + "{% endblocktranslate %}"
    return "\n".join([line[: sentence.start()] + opening, *lines, closing + line[sentence.end() :]])


if __name__ == "__main__":
    for path in map(Path, sys.argv[1:]):
        before = path.read_text(encoding="utf-8")
        after = "\n".join(narrower(line) for line in before.split("\n"))
        if after != before:
            path.write_text(after, encoding="utf-8")
