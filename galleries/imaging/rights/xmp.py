"""Writes an XMP packet: our own small serialiser, so the same record always gives the same bytes.

Source: ISO 16684-1 (XMP data model and serialisation). Property names: IPTC Photo Metadata Standard 2025.1
and PLUS LDF 2.0.1.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape  # it writes, it reads nothing  # nosec B406

NAMESPACES: Mapping[str, str] = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "plus": "http://ns.useplus.org/ldf/xmp/1.0/",
}
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"


@dataclass(frozen=True)
class Lang:
    """A text in the default language (LangAlt with x-default only)."""

    text: str


@dataclass(frozen=True)
class Seq:
    """An ordered array of texts or structures (mapping of qualified name to text)."""

    items: Sequence[str | Mapping[str, str]]


@dataclass(frozen=True)
class Bag:
    """An unordered array of texts."""

    items: Sequence[str]


Value = str | Lang | Seq | Bag


def packet(properties: Mapping[str, Value]) -> str:
    """An XMP packet with the given properties ('dc:creator' → value), in the order given.

    Raises KeyError for a prefix outside NAMESPACES.
    """
    used = sorted({name.split(":")[0] for name in _names(properties)})
    spaces = "".join(f'\n    xmlns:{prefix}="{NAMESPACES[prefix]}"' for prefix in used)
    body = "".join(_element(name, value) for name, value in properties.items())
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
        f' <rdf:RDF xmlns:rdf="{_RDF}">\n'
        f'  <rdf:Description rdf:about=""{spaces}>\n{body}  </rdf:Description>\n'
        " </rdf:RDF>\n</x:xmpmeta>\n"
        '<?xpacket end="w"?>'
    )


def _names(properties: Mapping[str, Value]) -> list[str]:
    names = list(properties)
    for value in properties.values():
        if isinstance(value, Seq):
            names += [name for item in value.items if not isinstance(item, str) for name in item]
    return names


def _element(name: str, value: Value) -> str:
    if isinstance(value, str):
        inner = escape(value)
    elif isinstance(value, Lang):
        inner = f'<rdf:Alt><rdf:li xml:lang="x-default">{escape(value.text)}</rdf:li></rdf:Alt>'
    else:
        kind = type(value).__name__
        inner = f"<rdf:{kind}>{''.join(map(_item, value.items))}</rdf:{kind}>"
    return f"   <{name}>{inner}</{name}>\n"


def _item(item: str | Mapping[str, str]) -> str:
    if isinstance(item, str):
        return f"<rdf:li>{escape(item)}</rdf:li>"
    inner = "".join(f"<{name}>{escape(text)}</{name}>" for name, text in item.items())
    return f'<rdf:li rdf:parseType="Resource">{inner}</rdf:li>'
