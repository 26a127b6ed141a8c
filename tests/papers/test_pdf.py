"""The PDFs, read by pdftotext and pdfinfo (Poppler): the words come out, names in other scripts included."""

from __future__ import annotations

import io
import re
import subprocess
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from galleries.papers import fonts, tagged
from galleries.papers.contact import SheetFrame, SheetLook, SheetMark, contact_sheet_pdf
from galleries.papers.licence_fields import BadTerms
from galleries.papers.manifest import FileEntry
from galleries.papers.release import PrintRelease, print_release_pdf
from galleries.papers.sheet import Acceptance, licence_sheet_pdf, licence_sheet_text
from tests.papers.test_terms import TERMS

FILES = [FileEntry.of(f"print/8x10_{n:02d}.jpg", bytes([n]), 2475, 3075, "8×10 in print") for n in range(4)]
ACCEPTED = [Acceptance("Zoë Œuvrard-Ångström", datetime(2026, 3, 2, 9, 5, tzinfo=UTC), 1)]

KEY = "○ pick   [ ] alternate   ╱ strike   S = subject (solid line), R = representation (dashed line)"


def words(pdf: bytes, tmp_path: Path) -> str:
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-enc", "UTF-8", str(path), "-"], capture_output=True, check=True)
    return re.sub(r"\s+", " ", done.stdout.decode())


def info(pdf: bytes, tmp_path: Path) -> dict[str, str]:
    path = tmp_path / "paper.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(["pdfinfo", str(path)], capture_output=True, check=True, text=True)
    return {key: value.strip() for key, _, value in (line.partition(":") for line in done.stdout.splitlines())}


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_licence_sheet(page: str, tmp_path: Path) -> None:
    pdf = licence_sheet_pdf(TERMS, FILES, ACCEPTED, page=page)
    text = words(pdf, tmp_path)
    for sentence in TERMS.sentences():
        assert sentence in text
    assert "Zoë Œuvrard-Ångström accepted version 1 on 2 March 2026 at 09:05 UTC." in text
    assert "local law and licensed practice decide" in text
    assert "4 files 8×10 in print, 2475 × 3075 px" in text
    assert FILES[3].sha256 not in text.replace(" ", "")  # checksums stand in the manifest
    # ISO 216: A4 is 210 × 297 mm = 595.28 × 841.89 pt; US Letter 8.5 × 11 in = 612 × 792 pt
    assert {"A4": "595", "Letter": "612"}[page] in info(pdf, tmp_path)["Page size"]
    assert pdf == licence_sheet_pdf(TERMS, FILES, ACCEPTED, page=page)


def test_licence_sheet_text_has_the_same_words() -> None:
    text = licence_sheet_text(TERMS, FILES, ACCEPTED)
    assert max(map(len, text.splitlines())) <= 78
    flat = re.sub(r"\s+", " ", text)
    assert all(sentence in flat for sentence in TERMS.sentences())
    assert "Not yet accepted." in licence_sheet_text(TERMS)


def test_markup_in_a_name_is_only_text(tmp_path: Path) -> None:
    text = words(licence_sheet_pdf(replace(TERMS, subject="A <b>Bold</b> & Co")), tmp_path)
    assert "A <b>Bold</b> & Co" in text


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_print_release(page: str, tmp_path: Path) -> None:
    """The lab finds everything that is permitted, and whom to ask, on the first page, however long the list is."""
    mail, phone = "permissions.and.prints@northlight-rooms.example", "+49 30 0000 0000 0000"
    web = "https://northlight-rooms.example/permissions/prints-and-labs"
    terms = replace(TERMS, contact_email=mail, contact_telephone=phone, contact_url=web)
    files = [FileEntry.of(f"print/{'long-' * 30}{n}.jpg", b"x", 2400, 3000) for n in range(60)]
    release = PrintRelease("Marit Ødegård", date(2026, 3, 1), copies=0)
    pdf = print_release_pdf(terms, release, files, page=page)
    text = words(pdf, tmp_path)
    first = re.sub(r"\s+", " ", PdfReader(io.BytesIO(pdf)).pages[0].extract_text())
    for part in ("Permission to print", "I own the copyright", "any number of prints", mail, phone, web,
                 "Signed: Marit Ødegård, 1 March 2026"):  # fmt: skip
        assert part in text
        assert part in first
    assert pdf == print_release_pdf(terms, release, files, page=page)


def test_no_release_without_prints_in_the_licence() -> None:
    with pytest.raises(BadTerms, match="no_prints"):
        print_release_pdf(replace(TERMS, uses=("website",)), PrintRelease("M", date(2026, 1, 1)), FILES)


def structure(pdf: bytes, tmp_path: Path) -> str:
    (tmp_path / "paper.pdf").write_bytes(pdf)
    command = ["pdfinfo", "-struct-text", "-enc", "UTF-8", str(tmp_path / "paper.pdf")]
    return subprocess.run(command, capture_output=True, check=True).stdout.decode()


def papers() -> dict[str, bytes]:
    return {
        "licence": licence_sheet_pdf(TERMS, FILES, ACCEPTED),
        "release": print_release_pdf(TERMS, PrintRelease("Marit Ødegård", date(2026, 3, 1)), FILES),
    }


def test_papers_are_tagged_and_read_in_their_order(tmp_path: Path) -> None:
    """PDF/UA-1 (ISO 14289-1 [std, from memory]): all real content tagged, in reading order, headings as headings, lists
    as lists; read by Poppler, which has no part in making them."""
    for name, pdf in papers().items():
        told = info(pdf, tmp_path)
        assert told["Tagged"] == "yes", name
        assert told["Suspects"] == "no", name
        tree = structure(pdf, tmp_path)
        kinds = re.findall(r"^ *(\w+) \((?:block|inline)\)|^ *(Document|Sect)$", tree, re.M)
        seen = {a or b for a, b in kinds}
        assert {"H1", "H2", "L", "LI", "Sect"} <= seen, (name, seen)
        assert tree.count("H1 (block)") == 1
        spoken = re.sub(r"\s+", " ", " ".join(re.findall(r'"(.*)"', tree)))
        assert "1 March 2026" in spoken if name == "release" else all(said in spoken for said in TERMS.sentences())
    heads = [*re.findall(r'H2 \(block\)\s+Span \(inline\)\s+"(.*?)"', structure(papers()["licence"], tmp_path))]
    assert heads == ["Parties", "What was agreed", "Accepted", "Files", "Please note"]


def test_papers_keep_what_pdf_ua_asks_of_the_file() -> None:
    """ISO 14289-1, 5 (identifier), 7.1 (title shown, marked), 7.2 (language), 7.21 (fonts within, text maps to Unicode)
    [std, from memory]; read by pypdf."""
    for pdf in papers().values():
        read = PdfReader(io.BytesIO(pdf))
        root = read.trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"]
        assert root["/ViewerPreferences"]["/DisplayDocTitle"]
        assert root["/Lang"] == "en"
        packet = root["/Metadata"].get_object().get_data().decode()
        assert re.search(r"pdfuaid:part[=>\"]+1", packet)
        assert read.metadata is not None
        assert str(read.metadata.title) in packet
        for page in read.pages:
            assert page["/Tabs"] == "/S"
            for font in page["/Resources"]["/Font"].values():
                whole = font.get_object()
                assert "/ToUnicode" in whole
                (inner,) = whole["/DescendantFonts"]
                descriptor = inner.get_object()["/FontDescriptor"]
                assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_names_of_every_script_are_shaped_and_come_out_whole(tmp_path: Path) -> None:
    """Right to left too: letters join (Arabic has another form inside a word) and the reading order stays."""
    for name in ("李小龍", "דליה אברמוב", "ليلى حدّاد", "Željka Đurić", "Ирина Ковалёва", "이수진"):
        pdf = licence_sheet_pdf(replace(TERMS, subject=name))
        assert name in structure(pdf, tmp_path) or name in words(pdf, tmp_path), name
        fonts_used = subprocess.run(
            ["pdffonts", str(tmp_path / "paper.pdf")], capture_output=True, check=True, text=True
        )
        assert " no " not in " ".join(line[-30:-10] for line in fonts_used.stdout.splitlines()[2:])


def test_a_paper_fetches_nothing() -> None:
    with pytest.raises(ValueError, match="fetches nothing"):
        tagged.refuse("https://elsewhere.example/track.png")
    quiet = licence_sheet_pdf(replace(TERMS, subject='<img src="file:///etc/hostname"> Ray'))
    assert b"/Image" not in quiet


def thumbnail(w: int, h: int, grey: int) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (w, h), (grey, grey, grey)).save(out, "JPEG")
    return out.getvalue()


def looks(marks: tuple[SheetMark, ...] = ()) -> list[SheetLook]:
    frames = tuple(
        SheetFrame(f"{n:04d}", thumbnail(*((96, 144) if n % 3 else (144, 96)), 40 + 5 * n), marks if n == 1 else ())
        for n in range(1, 40)
    )
    return [
        SheetLook("Look 1 – grey jumper", ("Key at 45°, 1/4 CTO on the rim", "Casting 李"), frames[:25]),
        SheetLook("Look 2 – black and white", (), frames[25:]),
    ]


def test_the_contact_sheet_is_tagged_and_read_in_its_order(tmp_path: Path) -> None:
    """ISO 32000-1, 14.7 (structure) and 14.8 (tags), ISO 14289-1, 7.1 and 7.3 (figures have an alternative) [std, from
    memory]: told by Poppler, and by pypdf, neither of which has a part in making it."""
    strips = looks()
    frame = replace(strips[0].frames[0], alternative="0001, S: Auswahl – für Ødegård")
    strips[0] = replace(strips[0], frames=(frame, *strips[0].frames[1:]))
    pdf = contact_sheet_pdf("Sitting 42", strips, key=KEY, language="de")
    assert info(pdf, tmp_path)["Tagged"] == "yes"
    assert int(info(pdf, tmp_path)["Pages"]) > 1
    tree = structure(pdf, tmp_path)
    assert tree.count("H1 (block)") == 1, "heads of later pages are not said again"
    heads = re.findall(r'H2 \(block\)\s+"(.*?)"', tree)
    assert heads == ["Look 1 – grey jumper", "Look 2 – black and white"]
    assert tree.count("Figure") == 39

    read = PdfReader(io.BytesIO(pdf))
    root = read.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "de"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert read.metadata is not None
    assert read.metadata.title == "Sitting 42"
    (document,) = [root["/StructTreeRoot"]["/K"].get_object()]
    parts = [one.get_object() for one in document["/K"]]
    assert [part["/S"] for part in parts] == ["/H1", "/P", "/Sect", "/Sect"]
    figures = [one.get_object() for part in parts[2:] for one in part["/K"] if one.get_object()["/S"] == "/Figure"]
    assert [one["/Alt"] for one in figures] == [frame.alternative, *(f"{n:04d}" for n in range(2, 40))]
    numbers = root["/StructTreeRoot"]["/ParentTree"]["/Nums"]
    for page, (key, elements) in zip(read.pages, zip(numbers[::2], numbers[1::2], strict=True), strict=True):
        assert page["/StructParents"] == key
        assert page["/Tabs"] == "/S"
        content = page.get_contents().get_data()  # type: ignore[union-attr]
        marked = [int(number) for number in re.findall(rb"/MCID (\d+)>> BDC", content)]
        assert marked == list(range(len(elements.get_object()))), "each tag of the page has its element"
        assert content.count(b"BDC") + content.count(b"BMC") == content.count(b"EMC")
        outside = re.sub(rb"(?s)(?:BDC|BMC)\b.*?\bEMC", b"", content)
        assert not re.search(rb"\bT[jJ]\b|\bDo\b", outside), "nothing is drawn outside a tag"


@pytest.mark.parametrize("page", ["A4", "Letter"])
def test_contact_sheet_has_every_number_and_note(page: str, tmp_path: Path) -> None:
    pdf = contact_sheet_pdf("Sitting 42", looks(), key=KEY, page=page)
    text = words(pdf, tmp_path)
    assert all(f"{n:04d}" in text for n in range(1, 40))
    for part in (
        "Sitting 42",
        "Look 1 – grey jumper",
        "Key at 45°, 1/4 CTO on the rim",
        "Look 2",
        "R = representation",
    ):
        assert part in text
    assert pdf == contact_sheet_pdf("Sitting 42", looks(), key=KEY, page=page)
    assert len(pdf) < 400_000


def drawn(pdf: bytes, tmp_path: Path) -> np.ndarray:
    (tmp_path / "sheet.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", "150", "-png", "-f", "1", "-l", "1", "-singlefile", "sheet.pdf", "sheet"]
    subprocess.run(command, cwd=tmp_path, check=True)
    with Image.open(tmp_path / "sheet.png") as page:
        return np.asarray(page.convert("RGB")).astype(int)


def test_marks_are_drawn_and_differ_without_colour(tmp_path: Path) -> None:
    """Rendered by Poppler: each kind and each person's line leaves different ink on the same frame."""
    plain = drawn(contact_sheet_pdf("S", looks(), key=KEY), tmp_path)
    inked = {}
    for kind in ("pick", "alternate", "strike"):
        for letter, line in (("S", "solid"), ("R", "dashed")):
            mark = SheetMark(kind, letter, line)  # type: ignore[arg-type]
            page = drawn(contact_sheet_pdf("S", looks((mark,)), key=KEY), tmp_path)
            changed = np.abs(page - plain).max(axis=2) > 20
            ys, xs = np.nonzero(changed)
            assert xs.max() < 400, "the ink stays on the marked frame"
            assert ys.max() - ys.min() > 60
            inked[kind, line] = changed
    for kind in ("pick", "alternate", "strike"):
        assert inked[kind, "dashed"].sum() < 0.85 * inked[kind, "solid"].sum()
    names = list(inked)
    for i, first in enumerate(names):
        for second in names[i + 1 :]:
            assert (inked[first] ^ inked[second]).sum() > 100


def test_bad_pages_are_named() -> None:
    with pytest.raises(ValueError, match="'A3' is not a page size"):
        contact_sheet_pdf("S", looks(), key=KEY, page="A3")


def test_the_bundled_font_is_the_last_resort() -> None:
    assert fonts.available()
    assert fonts.shortened("A very long title", 10, 30).endswith("…")
    assert "".join(piece for _, piece in fonts.runs("Ødegård 李 Ж")) == "Ødegård 李 Ж"
