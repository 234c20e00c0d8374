"""What is drawn, from which distribution, and what it does not depend on."""

import numpy as np
import pytest
from scipy.stats import binomtest, kstest, kstwo, lognorm, norm, truncnorm, uniform
from tests_shared import AtOnce, measured, small_scenario

from colsim import ScenarioError, replay, simulate_fills
from colsim.model.spread import Spread
from colsim.sampling.draws import draw_container, draw_fill_wide, draw_placement
from colsim.sampling.intervals import clopper_pearson
from colsim.sampling.sequences import confidence_sequence

SIZES = {
    "container.diameter": {"kind": "varies", "shape": "normal", "typical": 64, "deviation": 0.5},
    "container.mass": {"kind": "varies", "low": 0.5, "high": 0.6},
}
FILL_WIDE = {
    "rotor.friction": {"kind": "varies", "low": 0.2, "high": 0.4},
    "column.wall_friction": {"kind": "varies", "shape": "lognormal", "typical": 0.25, "factor": 1.2},
    "container.friction": {"kind": "varies", "low": 0.2, "high": 0.3},
}
FALSE_ALARM = 1e-4


def varied(count=3, **changes):
    return measured(small_scenario(count)).changed(**{**SIZES, **FILL_WIDE, **changes})


def same(one, other):
    """Tell whether two fills went the same way to the last bit."""
    return (
        repr(one.fill.vends) == repr(other.fill.vends)
        and len(one.frames) == len(other.frames)
        and all(
            a.time == b.time and a.drum_angle == b.drum_angle and np.array_equal(a.state.position, b.state.position)
            for a, b in zip(one.frames, other.frames, strict=True)
        )
    )


@pytest.mark.parametrize("fill", [0, 3])
def test_options_of_different_count_share_their_first_containers(fill):
    three, five = varied(3), varied(5)
    assert draw_fill_wide(three, 7, fill) == draw_fill_wide(five, 7, fill)
    first = [draw_placement(three.loading, 7, fill, item) for item in range(3)]
    assert first == [draw_placement(five.loading, 7, fill, item) for item in range(3)]
    few, many = (replay(scenario, seed=7, number=fill) for scenario in (three, five))
    assert few.fill.drawn == many.fill.drawn
    assert few.bodies == many.bodies[:3]
    assert len(many.bodies) == 5
    till_third = [[f for f in each.frames if len(f.state.index) < 3 and f.drum_angle == 0] for each in (few, many)]
    assert len(till_third[0]) > 10
    for a, b in zip(*(frames[: len(till_third[0])] for frames in till_third), strict=True):
        assert np.array_equal(a.state.position, b.state.position)


def test_what_is_drawn_for_one_path_does_not_depend_on_which_others_vary():
    alone = {path: measured(small_scenario()).changed(**{path: spread}) for path, spread in FILL_WIDE.items()}
    for fill in range(5):
        together = draw_fill_wide(varied(), 7, fill)
        assert set(together) == set(FILL_WIDE)
        assert together == {path: draw_fill_wide(scenario, 7, fill)[path] for path, scenario in alone.items()}
        turned = measured(small_scenario()).changed(**dict(reversed({**SIZES, **FILL_WIDE}.items())))
        assert draw_fill_wide(turned, 7, fill) == together


def test_what_is_drawn_for_one_size_does_not_depend_on_which_others_vary():
    both = varied().container
    for name in ("diameter", "mass"):
        scenario = measured(small_scenario()).changed(**{f"container.{name}": SIZES[f"container.{name}"]})
        for item in range(5):
            alone = draw_container(scenario.container, 7, 2, item)
            assert getattr(alone, name) == getattr(draw_container(both, 7, 2, item), name)
    assert draw_container(small_scenario().container, 7, 2, 0) is not both


def test_fills_containers_seeds_and_paths_draw_apart():
    container = varied().container
    places = [(s, f, i) for s in range(3) for f in range(3) for i in range(3)]
    assert len({draw_container(container, *place).diameter for place in places}) == 27
    even = {"kind": "varies", "low": 0.2, "high": 0.4}
    scenario = varied(**dict.fromkeys(FILL_WIDE, even))
    drawn = [draw_fill_wide(scenario, s, f) for s in range(3) for f in range(3)]
    assert len({value for values in drawn for value in values.values()}) == 27


def cut(law, low, high):
    """Give the distribution function of a law cut at both ends."""
    return lambda x: (law.cdf(x) - law.cdf(low)) / (law.cdf(high) - law.cdf(low))


LAWS = {
    "uniform": ({"low": 60, "high": 66}, uniform(60, 6).cdf),
    "normal": ({"shape": "normal", "typical": 63, "deviation": 0.8}, truncnorm(-3, 3, 63, 0.8).cdf),
    "normal, cut": (
        {"shape": "normal", "typical": 63, "deviation": 2, "low": 62, "high": 66},
        truncnorm(-0.5, 1.5, 63, 2).cdf,
    ),
    "lognormal": (
        {"shape": "lognormal", "typical": 65, "factor": 1.015},
        cut(lognorm(np.log(1.015), scale=65), 65 / 1.015**3, 65 * 1.015**3),
    ),
    "lognormal, cut": (
        {"shape": "lognormal", "typical": 63, "factor": 1.05, "low": 61, "high": 65},
        cut(lognorm(np.log(1.05), scale=63), 61, 65),
    ),
}
NUMBER = 1500
# With the right law, the greatest distance of the empirical distribution function from it stays below the quantile of
# Kolmogorov's law for that number (scipy.stats.kstwo) but for one case in ten thousand, shared among all checks.
FARTHEST = kstwo.ppf(1 - FALSE_ALARM / (2 * len(LAWS)), NUMBER)


def distance(values, law):
    """Give the greatest distance of the empirical distribution function from a law."""
    return kstest(values, law).statistic


@pytest.mark.parametrize("law", LAWS)
def test_varying_sizes_follow_their_law(law):
    spread, expected = LAWS[law]
    container = small_scenario(**{"container.diameter": {"kind": "varies", **spread}}).container
    # As many fills as containers in each, so that both ways of drawing anew are looked at.
    found = [draw_container(container, 11, k // 5, k % 5).diameter for k in range(NUMBER)]
    assert distance(found, expected) < FARTHEST
    others = [other for name, (_, other) in LAWS.items() if name != law]
    assert all(distance(found, other) > 2 * FARTHEST for other in others)


@pytest.mark.parametrize("law", LAWS)
def test_what_varies_from_fill_to_fill_follows_its_law(law):
    spread, expected = LAWS[law]
    wide = {"container.diameter": {"kind": "varies", **spread, "per": "fill"}}
    scenario = measured(small_scenario()).changed(**wide)
    found = [draw_fill_wide(scenario, 11, k)["container.diameter"] for k in range(NUMBER)]
    assert distance(found, expected) < FARTHEST


def test_diameter_and_mass_and_neighbours_are_drawn_independently():
    container = small_scenario(
        **{"container.diameter": {"kind": "varies", "low": 60, "high": 66}, "container.mass": SIZES["container.mass"]}
    ).container
    drawn = [[draw_container(container, 11, k, item) for item in range(2)] for k in range(NUMBER)]
    first, second = (np.array([pair[item].diameter for pair in drawn]) for item in range(2))
    mass = np.array([pair[0].mass for pair in drawn])
    # Of independent numbers the correlation is normal about 0 with deviation 1/sqrt(n), n being large.
    limit = norm.isf(FALSE_ALARM / (2 * 3)) / np.sqrt(NUMBER)
    for a, b in ((first, second), (first, mass), (first[1:], first[:-1])):
        assert abs(np.corrcoef(a, b)[0, 1]) < limit


def test_sizes_differ_from_container_to_container_unless_told_otherwise():
    each, once, mass = (
        replay(varied(4, **changes), seed=3)
        for changes in (
            {},
            {"container.diameter": {**SIZES["container.diameter"], "per": "fill"}},
            {"container.mass": {**SIZES["container.mass"], "per": "fill"}},
        )
    )
    count = {
        name: [len({getattr(b, name) for b in f.bodies}) for f in (each, once, mass)] for name in ("mass", "reach")
    }
    assert count == {"mass": [4, 4, 1], "reach": [4, 1, 4]}
    assert {body.reach for body in once.bodies} == {once.fill.drawn["container.diameter"] / 2}
    assert set(each.fill.drawn) == set(FILL_WIDE)
    assert set(mass.fill.drawn) == {*FILL_WIDE, "container.mass"}


@pytest.mark.parametrize("fill", [0, 1])
def test_a_fill_goes_as_the_column_that_it_drew(fill):
    once = {path: {**spread, "per": "fill"} for path, spread in SIZES.items()}
    drawn = replay(varied(**once), seed=3, number=fill)
    given = varied(**once).changed(**drawn.fill.drawn)
    assert not given.varying()
    assert same(drawn, replay(given, seed=3, number=fill))
    typical = measured(small_scenario(3, **{"container.diameter": 64}))
    assert not same(drawn, replay(typical, seed=3, number=fill))


def test_what_is_unknown_stands_at_its_typical_value():
    unknown = {"rotor.friction": {"kind": "unknown", "low": 0.2, "typical": 0.37, "high": 0.4}}
    found = replay(small_scenario(2, **unknown), seed=3)
    assert found.fill.drawn == {}
    assert same(found, replay(small_scenario(2, **{"rotor.friction": 0.37}), seed=3))


def test_screened_unknowns_are_drawn_at_their_ends_and_evenly_between_once_a_fill():
    scenario = small_scenario(2)
    unknowns, screened = scenario.unknowns(), scenario.screened()
    drawn = [draw_fill_wide(screened, 11, k) for k in range(200)]
    assert all(set(each) == set(unknowns) for each in drawn)
    for path, spread in unknowns.items():
        values = [each[path] for each in drawn]
        for end in (spread.low, spread.high):
            assert binomtest(values.count(end), 200, 0.25).pvalue > FALSE_ALARM / len(unknowns)
        between = [value for value in values if spread.low < value < spread.high]
        farthest = kstwo.ppf(1 - FALSE_ALARM / len(unknowns), len(between))
        assert distance(between, uniform(spread.low, spread.high - spread.low).cdf) < farthest


CONTRADICTING = {
    # Each end goes with the other's typical value, but not each with each.
    "fill": (
        {
            "container.diameter": {"kind": "varies", "low": 56, "high": 70, "per": "fill"},
            "rotor.pocket_width": {"kind": "varies", "low": 64, "high": 82},
        },
        "what was drawn does not go together: rotor.pocket_width",
    ),
    "container": (
        {
            "container.mass": {"kind": "varies", "low": 0.21, "high": 0.4},
            "container.empty_mass": {"kind": "varies", "low": 0.1, "high": 0.3},
        },
        "must be below mass",
    ),
}


@pytest.mark.parametrize("per", CONTRADICTING)
def test_a_fill_whose_draws_contradict_each_other_is_invalid_and_counts_in_both_bounds(per):
    changes, why = CONTRADICTING[per]
    fills = simulate_fills(measured(small_scenario(2)).changed(**changes), fills=16, seed=3, executor=AtOnce())
    lost = [fill for fill in fills if fill.invalid]
    assert 0 < len(lost) < 16
    for fill in lost:
        assert why in fill.invalid
        assert (fill.vends, fill.dispensed) == ((), 0)
    draw_again = {
        "fill": lambda: fills.scenario.changed(**lost[0].drawn),
        "container": lambda: [draw_container(fills.scenario.container, 3, lost[0].number, item) for item in range(2)],
    }[per]
    with pytest.raises(ScenarioError, match=why.rpartition(": ")[2]):
        draw_again()
    failed = sum(fill.failure is not None for fill in fills.valid)
    once, often = fills.risk().per_fill, fills.risk_looking_often(target=0.1).per_fill
    assert once.low == clopper_pearson(failed, 16)[0]
    assert once.high == clopper_pearson(failed + len(lost), 16)[1] > clopper_pearson(failed, 16)[1]
    level = 1 - 0.9 * 0.05
    assert often.low == confidence_sequence(failed, 16, level=level, target=0.1)[0]
    assert often.high == confidence_sequence(failed + len(lost), 16, level=level, target=0.1)[1]
    assert f"{len(lost)} invalid, counted in both bounds" in fills.summary()


def test_quantiles_run_from_end_to_end():
    for spread, _ in LAWS.values():
        law = Spread(kind="varies", **spread)
        assert (law.quantile(0.0), law.quantile(1.0)) == pytest.approx((law.low, law.high), rel=1e-9)
