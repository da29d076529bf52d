"""What past surgery of the demo finds: nested findings, complements, groups (trade reference 1.4)."""

import random
from types import SimpleNamespace

from kits.demo.outcomes import play

DRAWS = 4000


def finding(code, complement_of=None):
    return SimpleNamespace(code=code, complement_of=complement_of)


MISSING = finding("F-FPM")
INTACT = finding("F-INTACT", complement_of=MISSING)


def line(key, chance, found=None, group="", site=1):
    code = found.code if found else ""
    return SimpleNamespace(
        key=key, chance=chance, finding=found, finding_code=code, choose_one_group=group, site_id=site
    )


# A socket graft of the trade reference: 0.30 missing, tacks in a tenth of those; covers 0.45, 0.35, 0.20.
LINES = [
    line("graft", 1.0),
    line("membrane", 0.30, MISSING),
    line("tacks", 0.03, MISSING),
    line("plug", 0.315, INTACT, "COVER"),
    line("ptfe", 0.245, INTACT, "COVER"),
    line("collagen", 0.14, INTACT, "COVER"),
]


def shares():
    rng, count = random.Random(3), dict.fromkeys((each.key for each in LINES), 0)
    outcomes = [play(rng, LINES, {}) for _ in range(DRAWS)]
    for outcome in outcomes:
        for key in outcome.opened:
            count[key] += 1
    return outcomes, {key: number / DRAWS for key, number in count.items()}


def test_lines_open_as_often_as_their_chance():
    _, found = shares()
    for each in LINES:
        spread = (each.chance * (1 - each.chance) / DRAWS) ** 0.5
        assert abs(found[each.key] - each.chance) <= 3.5 * spread, each.key


def test_findings_nest_and_exclude_each_other():
    outcomes, _ = shares()
    for outcome in outcomes:
        covers = outcome.opened & {"plug", "ptfe", "collagen"}
        missing = "membrane" in outcome.opened
        assert "tacks" not in outcome.opened or missing
        assert len(covers) == (0 if missing else 1)
        assert outcome.found["F-FPM", 1] is missing


def test_each_site_is_drawn_for_itself_and_the_case_sees_either():
    lines = [line("a", 0.5, MISSING, site=1), line("b", 0.5, MISSING, site=2)]
    lines.append(line("whole", 0.5, MISSING, site=None))
    rng, seen = random.Random(5), set()
    for _ in range(200):
        opened = play(rng, lines, {}).opened
        seen.add(frozenset(opened))
        assert ("whole" in opened) == bool(opened & {"a", "b"})
    assert len(seen) == 4


def test_a_story_may_tell_the_finding():
    for present in (True, False):
        opened = play(random.Random(1), LINES, {"F-FPM": present}).opened
        assert ("membrane" in opened) is present
