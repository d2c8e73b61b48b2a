"""Units on the way in: factors, headers, amounts."""

import pytest

from trials.units import column, factor, match_header, parse_amount, shown

WANTED = {"rz5_um": "um", "u_mm": "mm", "pressure_bar": "bar", "coupon": ""}


@pytest.mark.parametrize(
    ("found", "kept", "expected"),
    [
        ("uin", "um", 0.0254),  # 1 in = 25.4 mm exactly (ISO 80000-3)
        ("in", "mm", 25.4),
        ("psi", "bar", 0.06894757293168),  # NIST SP 811, Appendix B.8
        ("MPa", "bar", 10.0),
        ("µm", "um", 1.0),
        ("mm", "um", 1000.0),
        ("bar", "mm", None),
    ],
)
def test_factor(found, kept, expected):
    assert factor(found, kept) == expected


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("rz5_um", ("rz5_um", 1.0)),
        ("Rz5 µm", ("rz5_um", 1.0)),
        ("rz5_uin", ("rz5_um", 0.0254)),
        ("u_in", ("u_mm", 25.4)),
        ("pressure-psi", ("pressure_bar", 0.06894757293168)),
        ("Coupon", ("coupon", 1.0)),
        ("rz5_bar", None),
        ("colour", None),
    ],
)
def test_header(header, expected):
    assert match_header(header, WANTED) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [("15 %", (15.0, "%")), ("0.03 mm", (0.03, "mm")), ("3µm", (3.0, "um")), (2, (2.0, "")), ("1e-2", (0.01, ""))],
)
def test_amount(text, expected):
    assert parse_amount(text) == expected


def test_amount_without_number_is_refused():
    with pytest.raises(ValueError, match="no number in 'much'"):
        parse_amount("much")


def test_names():
    assert column("speed", "m/min") == "speed_m_min"
    assert column("operator", "") == "operator"
    assert shown("um") == "µm"
