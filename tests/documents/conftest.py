"""The toy shop of the packing tests, and helpers that read a PDF back."""

from __future__ import annotations

import importlib.util
import io
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pypdfium2
import pytest
from pypdf import PdfReader


def _toy_builders() -> SimpleNamespace:
    path = Path(__file__).parents[1] / "packing" / "conftest.py"
    spec = importlib.util.spec_from_file_location("toy_shop", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.BUILDERS


@pytest.fixture(scope="session")
def build() -> SimpleNamespace:
    """Builders of the toy data; see tests/packing/conftest.py."""
    return _toy_builders()


def _read(data: bytes) -> SimpleNamespace:
    reader = PdfReader(io.BytesIO(data))
    texts = [page.extract_text() for page in reader.pages]
    box = reader.pages[0].mediabox
    return SimpleNamespace(
        pages=len(texts),
        page_texts=texts,
        text=" ".join(" ".join(texts).split()),
        size=(round(float(box.width)), round(float(box.height))),
        title=reader.metadata.title if reader.metadata else None,
        lang=reader.trailer["/Root"].get("/Lang"),
        fonts=_fonts(reader),
    )


def _fonts(reader: PdfReader) -> dict[str, bool]:
    """Base font name -> whether the font file is inside the document."""
    found: dict[str, bool] = {}
    for page in reader.pages:
        fonts: Any = page["/Resources"]["/Font"]
        for reference in fonts.values():
            font = reference.get_object()
            descriptor = font.get("/FontDescriptor")
            found[font["/BaseFont"]] = descriptor is not None and "/FontFile2" in descriptor.get_object()
    return found


@pytest.fixture(scope="session")
def read_pdf() -> Any:
    """PDF bytes -> pages, text (blanks made single), size in points, title, language, fonts."""
    return _read


def _draw(data: bytes, dots_per_inch: int = 100) -> list[Any]:
    with pypdfium2.PdfDocument(data) as document:
        return [page.render(scale=dots_per_inch / 72).to_pil().convert("L") for page in document]


@pytest.fixture(scope="session")
def draw_pdf() -> Any:
    """PDF bytes -> one grey image a page."""
    return _draw
