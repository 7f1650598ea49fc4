"""Small damage to a file, drawn from a generator: to its bytes, to its lines, to the parts of a workbook."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable

TOKENS = (
    b"", b"\x00", b"\xff", b'"', b"'", b"[", b"]]", b"{", b"}", b"=", b",", b";", b"\n", b"\r", b"\t", b"#", b"\\",
    b"-", b"nan", b"inf", b"-inf", b"1e999", b"1e-999", b"0", b"-1", b"9" * 400, b"9" * 5000, b"0x" + b"f" * 5000,
    b"1,5", b"true", b"2026-02-30", b"9999-12-31", b"00:00:60", b"a.b.c.d", b"../../etc/passwd", b"/dev/zero",
    b"=cmd|' /C calc'!A0", b"@SUM(1)", "\u202e\ufeff\u0000".encode(), "\ud7ff\U0010ffff µΩ½".encode(), b"\xed\xa0\x80",
    b"_x0000_", b"&#0;", b"&amp;",
    b"<", b"]]>", b"%", b"**", b"((((", b"\xf0\x9f\x98\x80" * 50, b"[" * 300, b"{a=" * 100, b"  " * 300,
)  # fmt: skip
XML_TOKENS = (
    b'<!DOCTYPE x [<!ENTITY a "b">]>', b"&a;", b"<c/>", b'<c r="XFD1048576"><v>1</v></c>', b'<row r="1048576"/>',
    b'<row r="99999999999"/>', b'r="A0"', b'r="ZZZZ1"', b't="s"', b't="d"', b't="b"', b't="e"', b"<v>1e999</v>",
    b"<v>nan</v>", b"<v>999999999</v>", b'<mergeCell ref="A1:XFD1048576"/>', b'<hyperlink ref="A1:XFD1048576"/>',
    b's="99999"', b'min="1" max="99999999"', b'width="-1"', b'width="1e308"',
    b"<f>cmd|'/C calc'!A0</f>", b'<f t="shared" si="9"/>',
    b'<dimension ref="A1:XFD1048576"/>', b'Target="../../../../etc/passwd"', b'Target="http://invalid.invalid/"',
    b'TargetMode="External"', b"<is><t>x</t></is>", b"<!--", b"<?x ?>", b"<![CDATA[", b"xmlns=''",
)  # fmt: skip


def damaged(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    """One to three changes; a workbook is damaged in a part of it three times of four."""
    if content[:2] == b"PK" and draw.random() < 0.75:
        return _in_a_part(content, draw)
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        content = draw.choice(WAYS)(content, draw, others)
    return content


def _place(content: bytes, draw: random.Random) -> int:
    return draw.randrange(len(content) + 1)


def _flip(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    changed = bytearray(content)
    for _ in range(draw.choice((1, 2, 8)) if changed else 0):
        changed[draw.randrange(len(changed))] ^= 1 << draw.randrange(8)
    return bytes(changed)


def _cut_off(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    return content[: _place(content, draw)]


def _delete(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    at = _place(content, draw)
    return content[:at] + content[at + draw.choice((1, 3, 20, 200)) :]


def _repeat(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    at, length = _place(content, draw), draw.choice((1, 10, 80, 500))
    block = content[at : at + length]
    return content[:at] + block * draw.choice((2, 3, 50)) + content[at + length :]


def _insert(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    at = _place(content, draw)
    return content[:at] + draw.choice(TOKENS) + content[at + draw.choice((0, 0, 1, 4)) :]


def _value(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    """What stands between two signs that part values is replaced."""
    at = _place(content, draw)
    ends = [found for sign in (b'"', b",", b"\n", b" ") if (found := content.find(sign, at)) >= 0]
    start = max(content.rfind(sign, 0, at) for sign in (b'"', b",", b"\n", b" ")) + 1
    return content[:start] + draw.choice(TOKENS) + content[min(ends, default=len(content)) :]


def _swap_lines(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    lines = content.split(b"\n")
    one, other = draw.randrange(len(lines)), draw.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


def _swap_sections(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    sections = content.split(b"\n\n")
    draw.shuffle(sections)
    return b"\n\n".join(sections)


def _unicode(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    at = _place(content, draw)
    signs = "".join(chr(draw.randrange(0x20, 0xD7FF)) for _ in range(draw.choice((1, 5, 40))))
    return content[:at] + signs.encode() + content[at:]


def _another(content: bytes, draw: random.Random, others: list[bytes]) -> bytes:
    """A file of another kind in its place, or a stretch of it."""
    other = draw.choice(others)
    if draw.random() < 0.3:
        return other
    at, start = _place(content, draw), draw.randrange(len(other) + 1)
    return content[:at] + other[start : start + 200] + content[at:]


WAYS: tuple[Callable[[bytes, random.Random, list[bytes]], bytes], ...] = (
    _flip, _cut_off, _delete, _repeat, _insert, _insert, _value, _value, _swap_lines, _swap_sections, _unicode,
    _another,
)  # fmt: skip


def _in_a_part(content: bytes, draw: random.Random) -> bytes:
    """A workbook with one of its parts changed, left out, emptied, renamed or given twice."""
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as source, zipfile.ZipFile(made, "w") as target:
        names = source.namelist()
        # Sheets and what they rest on are what is read.
        chosen = draw.choice(
            [name for name in names if draw.random() < 0.5 or "sheet" in name or "styles" in name] or names
        )
        way = draw.choice(("xml", "xml", "xml", "xml", "bytes", "bytes", "bytes", "leave out", "empty", "rename"))
        for name in names:
            data = source.read(name)
            if name == chosen:
                if way == "leave out":
                    continue
                if way == "empty":
                    data = b""
                elif way == "rename":
                    name = f"../{name}"
                elif way == "xml":
                    data = _xml(data, draw)
                else:
                    data = draw.choice(WAYS[:-1])(data, draw, [])
            target.writestr(name, data)
    return made.getvalue()


def _xml(data: bytes, draw: random.Random) -> bytes:
    """A token at the border of an element or in place of an attribute's value."""
    starts = [at for at in range(len(data)) if data[at : at + 1] == b"<"] if len(data) < 200_000 else []
    at = draw.choice(starts) if starts else _place(data, draw)
    if draw.random() < 0.5:
        return data[:at] + draw.choice(XML_TOKENS) + data[at:]
    quote = data.find(b'="', at)
    if quote < 0:
        return data[:at] + draw.choice(XML_TOKENS) + data[at:]
    end = data.find(b'"', quote + 2)
    value = draw.choice(
        (b"", b"-1", b"0", b"99999999999999999999", b"1e999", b"A1:XFD1048576", b"rId999", b"true", b"\xff")
    )
    return data[: quote + 2] + value + data[end:]
