"""A report on the screen and on the printer: the same pages."""

import pytest
from PySide6.QtCore import QBuffer, QSize
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QLabel

from workbench.gui.parts.paper import PaperView
from workbench.gui.parts.report_pages import pictures
from workbench.gui.work_line import WorkLine


class TwoPages:
    """A report of two blank pages, US letter."""

    file_name = "two.pdf"

    def pages(self, ppi):
        image = QImage(QSize(round(8.5 * ppi), round(11 * ppi)), QImage.Format.Format_Grayscale8)
        image.fill(255)
        buffer = QBuffer()
        image.save(buffer, "PNG")
        return [bytes(buffer.data())] * 2


@pytest.fixture
def paper(qtbot, qapp):
    works = WorkLine(qapp)
    made = PaperView(works, "Report (*.pdf)")
    qtbot.addWidget(made)
    made.setMinimumSize(700, 500)
    made.show()
    made.open(TwoPages())
    qtbot.waitUntil(lambda: not works.busy, timeout=20_000)
    yield made
    works.wait()


def test_the_pages_are_seen_as_wide_as_there_is_room(paper):
    labels = paper.pages.findChildren(QLabel)
    assert [one.accessibleName() for one in labels] == ["Page 1 of 2", "Page 2 of 2"]
    width = labels[0].pixmap().deviceIndependentSize().width()
    assert 600 < width < 700
    assert pictures(TwoPages().pages)[0].width() > width


def test_all_pages_go_to_the_printer(paper, qtbot, tmp_path):
    from PySide6.QtPrintSupport import QPrinter

    printer = QPrinter()
    printer.setOutputFormat(QPrinter.OutputFormat.PdfFormat)
    printer.setOutputFileName(str(tmp_path / "printed.pdf"))
    paper.print_on(printer)
    qtbot.waitUntil(lambda: "printer" in paper.said.text(), timeout=20_000)
    assert paper.said.text() == "2 pages went to the printer."
    assert (tmp_path / "printed.pdf").read_bytes().startswith(b"%PDF")
