import json
from copy import deepcopy
from decimal import Decimal
from typing import Any

import pytest

from app.documents.correction_table import (
    correction_table_from_json,
    correction_table_to_json,
    load_correction_table,
)
from app.errors import BadFile
from app.judging.units import Quantity
from app.judging.witness.acceptance import Obtained
from app.judging.witness.corrections import CorrectionReason, Parameter

TABLE: dict[str, Any] = {
    "name": "Round coupons",
    "revision": "B",
    "quantity": "hardness",
    "scale": "HRB",
    "reason": "curvature",
    "parameter": "diameter_mm",
    "parameters": ["10", "20.0"],
    "readings": ["70", "80", "90"],
    "additions": [["3.0", "1.0"], ["2.0", "0.5"], ["1.0", "0"]],
    "source": "DT-9, annex",
    "obtained": "invented",
}


def changed(**change: object) -> str:
    return json.dumps({**deepcopy(TABLE), **change})


def test_a_table_is_read_with_its_figures_as_written() -> None:
    table = load_correction_table(changed(), code="CT-1")
    assert (table.code, table.reason) == ("CT-1", CorrectionReason.CURVATURE)
    assert (table.quantity, table.unit) == (Quantity.HARDNESS, "HRB")
    assert table.parameter is Parameter.DIAMETER
    assert [str(one) for one in table.parameters] == ["10", "20.0"]
    assert table.additions[0] == (Decimal("3.0"), Decimal("1.0"))
    assert table.obtained is Obtained.INVENTED


def test_a_table_goes_out_and_comes_back_the_same() -> None:
    table = load_correction_table(changed(), code="CT-1")
    written = correction_table_to_json(table)
    assert correction_table_from_json(written, code="CT-1") == table
    assert load_correction_table(json.dumps(written), code="CT-1") == table
    clad = load_correction_table(
        changed(
            quantity="conductivity",
            scale=None,
            unit="%IACS",
            reason="clad",
            parameter=None,
            parameters=[],
            additions=[["-1"], ["-2"], ["-3"]],
        ),
        code="CT-2",
    )
    assert correction_table_from_json(correction_table_to_json(clad), code="CT-2") == clad


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"colour": 1}, "colour: is no key of this paper; remove it or correct its spelling."),
        ({"name": " "}, "name: expected some text, found ' '."),
        ({"obtained": "guessed"}, "obtained: expected 'published', 'common practice', "),
        ({"additions": [["3,0"]]}, "additions[0][0]: expected a number such as 38.0, found '3,0'."),
        ({"unit": "%IACS"}, "hardness needs scale, and no unit"),
        ({"readings": ["80", "70", "90"]}, "readings: 70 stands after 80;"),
        ({"additions": [["1", "1"]]}, "additions: 1 rows for 3 readings;"),
        ({"parameter": "thickness_mm"}, "parameter: a correction for curvature goes by "),
    ],
)
def test_a_faulty_table_is_refused_in_one_sentence(
    change: dict[str, object], sentence: str
) -> None:
    with pytest.raises(BadFile) as refused:
        load_correction_table(changed(**change), code="CT-1", filename="K.json")
    assert refused.value.sentence.startswith(f"K.json: {sentence}")
    assert refused.value.sentence.endswith(".")
