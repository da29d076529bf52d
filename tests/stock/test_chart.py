"""The projection chart: well-formed, safe, drawn where the numbers are, and readable as a table."""

import re
from datetime import date
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stock.chart import BOTTOM, LEFT, RIGHT, WIDTH, Series, WrongSeries, projection_chart, series_table

SVG = "{http://www.w3.org/2000/svg}"
START = date(2026, 11, 25)


def series(median, *, spread=1, **more):
    median = np.asarray(median)
    on_hand = np.stack([np.maximum(median - spread, 0), median, median + spread], axis=1)
    return Series(first_day=START, on_hand=on_hand, **more)


def parsed(chart):
    return ElementTree.fromstring(chart.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def path(root, kind):
    return next(found.get("d") for found in root.iter(f"{SVG}path") if found.get("class") == kind)


def words(root):
    return [found.text for found in root.iter(f"{SVG}text")]


def heights(root, kind, days):
    """Read the level of each day back from a step path, in pixels."""
    x, level, seen = None, None, {}
    for command, first, second in re.findall(r"([MHVL])([-\d.]+)(?: ([-\d.]+))?", path(root, kind)):
        if command in "ML":
            x, level = float(first), float(second)
        elif command == "V":
            level = float(first)
        else:
            for day in range(days):
                middle = LEFT + (RIGHT - LEFT) * (day + 0.5) / days
                if x <= middle <= float(first):
                    seen[day] = level
            x = float(first)
    return [seen[day] for day in range(days)]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 900), min_size=1, max_size=90))
def test_the_median_line_lies_where_the_numbers_are(median):
    root = parsed(projection_chart(series(median), title="Stock"))
    ticks = [int(text) for text in words(root) if text.isdigit()]
    levels = {float(found.get("y")) - 4 for found in root.iter(f"{SVG}text") if found.text.isdigit()}
    per_unit = (BOTTOM - min(levels)) / max(ticks)
    drawn = [(BOTTOM - height) / per_unit for height in heights(root, "chart-median", len(median))]
    np.testing.assert_allclose(drawn, median, atol=0.1 / per_unit)
    assert max(ticks) > max(median)
    assert 3 <= len(ticks) <= 7
    assert len(set(np.diff(sorted(ticks)))) == 1


@pytest.mark.parametrize(
    "shown",
    [
        series([3] * 60, spread=0),
        series([1] * 30, must_have=[1] * 30),
        series([0] * 5),
        series(range(700, 520, -1), receipts=[(40, 200)], expiries=[(61, 300), (500, 2)]),
        series([2], covered_until=-1),
    ],
)
def test_every_stock_gives_a_well_formed_image_within_its_frame(shown):
    chart = projection_chart(shown, title="Stock of <b> & 'one'", name="item-7")
    root = parsed(chart)
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "item-7-title item-7-desc"
    assert root.find(f"{SVG}title").text == "Stock of <b> & 'one'"
    assert root.find(f"{SVG}desc").text.startswith("From 25 Nov 2026 to ")
    assert "style" not in chart
    for found in root.iter(f"{SVG}text"):
        width = 6.7 * len(found.text)
        x = float(found.get("x"))
        start = x - width if found.get("text-anchor") == "end" else x
        assert start >= -1
        assert start + width <= WIDTH + 1


def test_text_is_escaped_and_the_markup_is_marked_safe():
    chart = projection_chart(series([1]), title='</title><script>alert("x")</script>')
    assert "<script>" not in chart
    assert chart.__html__() == chart


def test_marks_are_drawn_with_words_and_a_shape_each():
    shown = series(
        [5] * 60, must_have=[2] * 60, receipts=[(22, 5), (22, 1)], expiries=[(40, 2)], covered_until=6
    )
    root = parsed(projection_chart(shown, title="Stock"))
    assert {"6 due", "2 out of date", "covered until 1 Dec"} <= set(words(root))
    for kind in ("receipt", "expiry", "covered"):
        assert path(root, f"chart-{kind}")
        assert path(root, f"chart-{kind}-foot")
    assert path(root, "chart-receipt").startswith(f"M{round(LEFT + (RIGHT - LEFT) * 22 / 60, 1):g} ")
    assert path(root, "chart-covered").startswith(f"M{round(LEFT + (RIGHT - LEFT) * 7 / 60, 1):g} ")
    assert path(root, "chart-must")


def test_labels_in_one_lane_do_not_run_into_each_other():
    shown = series([9] * 60, receipts=[(day, 1) for day in range(10, 30, 2)], covered_until=15)
    root = parsed(projection_chart(shown, title="Stock"))
    lanes = {}
    for found in root.iter(f"{SVG}text"):
        if "chart-label" in found.get("class"):
            width, x = 6.7 * len(found.text), float(found.get("x"))
            start = x - width if found.get("text-anchor") == "end" else x
            lanes.setdefault(found.get("y"), []).append((start, start + width))
    assert lanes
    for spans in lanes.values():
        spans.sort()
        assert all(one[1] <= other[0] for one, other in zip(spans, spans[1:], strict=False))


def test_dates_below_the_plot_name_the_year_when_it_changes():
    assert "1 Jan 2027" in words(parsed(projection_chart(series([5] * 180), title="Stock")))
    assert "4 Jan 2027" in words(parsed(projection_chart(series([5] * 42), title="Stock")))


def test_the_table_has_a_row_wherever_something_changes():
    rows = series_table(
        series([5, 5, 4, 4, 4, 4], receipts=[(4, 0)], expiries=[(3, 2)], short=[0, 0, 0, 0.1, 0.1, 0.2])
    )
    assert [row.on.day for row in rows] == [25, 27, 28, 29, 30]
    assert [row.median for row in rows] == [5, 4, 4, 4, 4]
    assert [row.expiring for row in rows] == [0, 0, 2, 0, 0]
    assert [row.short for row in rows] == [0, 0, 0.1, 0.1, 0.2]
    assert rows[0].must_have is None


@pytest.mark.parametrize(
    "wrong",
    [{"on_hand": [[1, 2]]}, {"on_hand": np.zeros((0, 3))}, {"on_hand": [[1, 2, 3]], "must_have": [1, 2]}],
)
def test_numbers_that_do_not_fit_together_are_refused(wrong):
    with pytest.raises(WrongSeries):
        Series(first_day=START, **wrong)


def test_an_id_that_could_break_out_of_the_markup_is_refused():
    with pytest.raises(WrongSeries, match="cannot start an id"):
        projection_chart(series([1]), title="Stock", name='x" onload="y')
