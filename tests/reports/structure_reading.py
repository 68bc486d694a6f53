"""The structure of a PDF read back (ISO 32000-1, 14.6 and 14.7)."""

from __future__ import annotations

from pypdf.generic import ContentStream

SHOWS = {b"Tj", b"TJ", b"'", b'"', b"S", b"s", b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*", b"Do", b"sh"}


def marks_of(page, reader):
    """The number of each marked part of a page, in order; fails where something stands outside of all."""
    numbers, open_parts = [], []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        if operator in (b"BDC", b"BMC"):
            open_parts.append(operands[0])
            if operator == b"BDC":
                numbers.append(operands[1]["/MCID"])
        elif operator == b"EMC":
            open_parts.pop()
        elif operator in SHOWS:
            assert len(open_parts) == 1, f"{operator} stands in {open_parts}"
    assert not open_parts
    return numbers


def kids_of(element):
    """The elements directly within one."""
    return [kid.get_object() for kid in element["/K"] if not isinstance(kid, int)]


def numbers_in(element):
    """The numbers of the marks that an element is made of."""
    return [kid for kid in element["/K"] if isinstance(kid, int)]


def walked(element):
    """An element and all below it, in the order in which they are read."""
    yield element
    for kid in kids_of(element):
        yield from walked(kid)


def elements_of(reader):
    """Every element of a document with its parent, in the order in which it is read."""

    def below(element, parent):
        yield element, parent
        for kid in kids_of(element):
            yield from below(kid, element)

    root = reader.trailer["/Root"]["/StructTreeRoot"]
    for top in root["/K"]:
        yield from below(top.get_object(), root)
