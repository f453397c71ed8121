"""`keys card`: the keypad card as a file, by its suffix."""

from pathlib import Path

from assistant.dialogue import card
from assistant.errors import AssistantError
from assistant.mending import install_command

_PAGE = """
#set document(title: "Keypad card")
#set text(lang: "en")
#set page(width: {width}mm, height: {height}mm, margin: 0mm)
#image(bytes(sys.inputs.card), format: "svg", width: {width}mm, alt: sys.inputs.text)
"""


def write_card(path: Path) -> None:
    """Write the card as drawing, PDF or text.

    Raises:
        AssistantError: the suffix is none of these, PDF cannot be written here, or the file cannot be written.

    """
    makers = {".svg": _svg, ".pdf": _pdf, ".txt": _text}
    make = makers.get(path.suffix.lower())
    if make is None:
        raise AssistantError(f"{path}: the end of its name says what it is to be; give .svg, .pdf or .txt")
    data = make()
    try:
        path.write_bytes(data)
    except OSError as error:
        raise AssistantError(f"{path}: cannot be written ({error.strerror}); choose another place") from error


def _text() -> bytes:
    return card.as_text().encode()


def _svg() -> bytes:
    return card.as_svg().encode()


def _pdf() -> bytes:
    """Give the drawing as PDF/UA-1; what it shows stands beside it in words, for who cannot see it."""
    try:
        import typst
    except ImportError as error:
        raise AssistantError(
            f"keys card: what writes PDF is not here; {install_command('office')}, or give .svg, which prints as well"
        ) from error
    width, height = card.PAGE_MM
    source = _PAGE.format(width=width, height=height).encode()
    inputs = {"card": card.as_svg(), "text": card.as_text()}
    pdf = typst.compile(source, sys_inputs=inputs, ignore_system_fonts=True, pdf_standards="ua-1")
    assert isinstance(pdf, bytes)
    return pdf
