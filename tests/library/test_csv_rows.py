"""A sheet's rows: what is told of a cell."""

import pytest

from colormatch.library.csv_rows import read_rows
from colormatch.records import Paint


@pytest.mark.parametrize(("length", "quoted"), [(1, 1), (30, 30), (31, 30), (3000, 30)])
def test_a_cell_without_a_column_is_quoted_up_to_thirty_characters(length: int, quoted: int) -> None:
    """Thirty is the module's own choice: a sentence stays one, whatever stands in the sheet."""
    cell = "x" * length
    records, (problem,) = read_rows(Paint, "paints.csv", f"name,\nOchre,{cell}\n".encode())
    assert records == []
    assert f"'{'x' * quoted}'" in problem.what
