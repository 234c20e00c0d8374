"""Geometry that cannot be, refused with the numbers."""

import pytest

from colsim import Column, Container, Rotor, Scenario, ScenarioError

BASE = {
    "container": {"diameter": 66, "mass": 0.54},
    "column": {"width": 90, "height": 900, "wall_friction": 0.2},
    "rotor": {"radius": 95, "pockets": 1, "pocket_width": 82, "pocket_depth": 80},
    "loading": {"count": 4},
}


def scenario(**parts):
    return Scenario(**{name: {**values, **parts.get(name, {})} for name, values in BASE.items()})


def refused(*texts, **parts):
    with pytest.raises(ScenarioError) as caught:
        scenario(**parts)
    message = str(caught.value)
    assert all(text in message for text in texts), message
    return message


def test_the_base_is_possible():
    assert scenario().loading.count == 4


@pytest.mark.parametrize("width", [132, 140])
def test_two_abreast(width):
    refused(
        "column.width",
        f"got {width} mm",
        "two of 66 mm (the container) lie abreast",
        "allowed: below 132 mm",
        column={"width": width},
    )
    assert scenario(column={"width": 131.9}).column.width == 131.9


def test_container_wider_than_the_column():
    refused("column.width: got 65 mm", "the container is 66 mm wide", column={"width": 65})


def test_container_wider_than_the_throat():
    text = refused(
        "column.throat: got 65.9 mm", "the container is 66 mm wide", column={"throat": 65.9, "floor_slope": 60}
    )
    assert "column.width" not in text


def test_container_wider_than_the_pocket():
    refused("rotor.pocket_width: got 65 mm", "the container is 66 mm wide", rotor={"pocket_width": 65})


def test_container_wider_than_what_the_spacer_leaves():
    narrowed = {"spacer_kind": "narrows_pocket", "spacer_thickness": 16.5}
    refused("got 82 mm, of which the spacer leaves 65.5 mm", "the container is 66 mm wide", rotor=narrowed)


def test_a_flat_counts_in_the_width():
    # Height 66 - 2 x 20 / pi = 53.27 mm, width 73.27 mm: into 74 mm it goes, into 73 mm not.
    flat = {"set_flat": 20}
    assert scenario(container=flat, rotor={"pocket_width": 74}).container.breadth == pytest.approx(73.27, abs=0.005)
    refused("rotor.pocket_width: got 73 mm", "73.2676 mm wide", container=flat, rotor={"pocket_width": 73})


@pytest.mark.parametrize("depth", [95, 120])
def test_drum_deeper_than_itself(depth):
    refused(f"pocket_depth {depth} mm", "below the radius 95 mm", rotor={"pocket_depth": depth})


def test_pocket_wider_than_the_drum():
    refused("pocket_width 190 mm", "drum's diameter 190 mm", rotor={"pocket_width": 190})


def test_pockets_that_run_into_each_other():
    # Floor corners lie atan(41 / 15) = 69.9 deg from the middle; two pockets may take 90 each, three only 60.
    refused("3 pockets of 82 x 80 mm", "radius 95 mm", "70 deg", "below 60 allowed", rotor={"pockets": 3})
    assert scenario(rotor={"pockets": 2}).rotor.pockets == 2


def test_pockets_without_land_between_them():
    # Mouth of 82 mm rounded to 10 mm in a drum of 95 mm: asin(51 / 85) = 36.9 deg; five pockets have 36 each.
    shallow = {"pockets": 5, "pocket_depth": 30, "lead_in": 10}
    refused("no land is left between 5 pockets", "82 mm wide", "10 mm reaches 37 deg", "below 36", rotor=shallow)
    assert scenario(rotor={**shallow, "pockets": 4}).rotor.pockets == 4


@pytest.mark.parametrize(("kind", "thickness"), [("raises_floor", 80), ("narrows_pocket", 82)])
def test_spacer_that_fills_the_pocket(kind, thickness):
    spacer = {"spacer_kind": kind, "spacer_thickness": thickness}
    refused(f"spacer_thickness {thickness} mm fills the whole pocket (82 x 80 mm)", rotor=spacer)


def test_mouth_rounded_away():
    rounded = {"lead_in": 30, "pocket_width": 130}
    refused("nothing is left of the pocket's sides", "30 mm", "130 mm wide", "80 mm deep", rotor=rounded)


def test_drum_narrower_than_the_throat():
    drum = {"radius": 45, "pocket_width": 68, "pocket_depth": 40, "lead_in": 2}
    refused("rotor.radius: got 45 mm", "drum of 90 mm must be wider than the throat (90 mm)", rotor=drum)


def test_throat_edge_that_eats_the_floor():
    floor = {"throat": 80, "floor_slope": 60}
    refused("column.throat_radius: got 50 mm", "that takes", "of the 10 mm", column={**floor, "throat_radius": 50})


@pytest.mark.parametrize("thickness", [26, 30, 49])
def test_lifted_edge_that_would_be_a_shelf(thickness):
    small = {"diameter": 26, "mass": 0.05}
    column = {"width": 50, "liners": [{"friction": 0.1, "top": 400, "lifted_edge": thickness}]}
    refused(
        f"column.liners.0.lifted_edge: got {thickness} mm",
        "below 26 mm, the height of the container",
        container=small,
        column=column,
    )
    column["liners"][0]["lifted_edge"] = 25.9
    assert scenario(container=small, column=column).column.liners[0].lifted_edge == 25.9


@pytest.mark.parametrize("wall", ["left", "right", "both"])
def test_liners_that_overlap(wall):
    liners = [{"friction": 0.1, "top": 300, "wall": wall}, {"friction": 0.1, "bottom": 200}]
    named = "right" if wall == "right" else "left"
    refused(f"liners on the {named} wall overlap", "ends at 300 mm", "begins at 200 mm", column={"liners": liners})


def test_liners_that_meet_or_lie_on_other_walls_do_not_overlap():
    meeting = [{"friction": 0.1, "top": 300}, {"friction": 0.3, "bottom": 300}]
    assert scenario(column={"liners": meeting}).column.liner_zones("left") == [(0, 300, 0.1, 0), (300, 900, 0.3, 0)]
    apart = [{"friction": 0.1, "wall": "left"}, {"friction": 0.3, "wall": "right"}]
    assert scenario(column={"liners": apart}).column.liner_zones("right") == [(0, 900, 0.3, 0)]
    lifted = [{"friction": 0.2, "top": 500, "lifted_edge": 4}]
    (zone,) = scenario(column={"liners": lifted}).column.liner_zones("left")
    assert (zone.bottom, zone.top, zone.friction, zone.lifted_edge) == (0, 500, 0.2, 4)


def test_liner_beyond_the_wall():
    refused("ends 901 mm", "height 900 mm", column={"liners": [{"friction": 0.1, "top": 901}]})


def test_liner_that_begins_beyond_the_wall():
    with pytest.raises(ScenarioError):
        scenario(column={"liners": [{"friction": 0.1, "bottom": 950}]})


def test_liner_upside_down():
    refused(
        "column.liners.0: top 100 mm", "bottom 200 mm", column={"liners": [{"friction": 0, "bottom": 200, "top": 100}]}
    )


def test_floor_without_its_slope():
    refused("floor_slope is missing", "throat (80 mm)", "column (90 mm)", column={"throat": 80})


def test_throat_wider_than_the_column():
    refused("throat 95 mm", "column's width 90 mm", column={"throat": 95, "floor_slope": 60})


def test_floor_as_high_as_the_column():
    # (90 - 80) / 2 x tan 89.9 deg = 2864.8 mm.
    refused("2864.8 mm high", "column (900 mm)", column={"throat": 80, "floor_slope": 89.9})


def test_more_than_fit():
    # 900 mm and a pocket 80 mm deep; 24 mm of free width makes each further one add sqrt(66^2 - 24^2) = 61.48 mm:
    # 1 + (980 - 66) / 61.48 = 15.9.
    refused("loading.count: got 16", "at most 15 fit", loading={"count": 16})
    assert scenario(loading={"count": 15}).greatest_count() == 15


def test_more_than_fit_where_the_zigzag_formula_ends():
    # 125 / 66 = 1.89: densest packing of the plane, pi / (2 sqrt 3) x 980 x 125 / (pi / 4 x 66^2) = 32.47.
    wide = {"width": 125}
    refused("loading.count: got 33", "at most 32 fit", column=wide, loading={"count": 33})
    assert scenario(column=wide, loading={"count": 32}).greatest_count() == 32


def test_container_as_heavy_empty_as_full():
    refused("empty_mass 0.54 kg", "mass 0.54 kg", container={"empty_mass": 0.54})


@pytest.mark.parametrize(
    ("sizes", "density"),
    [
        # pi / 4 x 66^2 x 60 mm: 0.2053 l; x 400 mm: 1.368 l.
        ({"length": 60}, "2.6 kg a litre"),
        ({"length": 60, "mass": 0.0212, "drink": "still"}, "0.1 kg a litre"),
        ({"mass": 2.2}, "1.6 kg a litre for a cylinder 66 mm across and at most 400 mm long"),
    ],
)
def test_container_of_a_density_that_none_has(sizes, density):
    refused("container.mass: got ", density, "allowed: 0.3 to 1.5 kg a litre", "weigh it", container=sizes)


def test_density_at_its_bounds():
    # pi / 4 x 60^2 mm2 x 31.831 mm: 0.09 l; 0.027 to 0.135 kg.
    sizes = {"diameter": 60, "length": 31.83099, "stiffness": 70}
    for mass in (0.02701, 0.13499):
        assert scenario(container={**sizes, "mass": mass}).container.mass == mass
    for mass in (0.02699, 0.13501):
        refused("kg a litre", container={**sizes, "mass": mass})


def test_density_at_the_ends_of_a_spread():
    spread = {"kind": "unknown", "low": 0.5, "high": 2.0}
    refused("container.mass: got 2 kg", "kg a litre", container={"mass": spread, "length": 200})


def test_flat_wider_than_half_the_diameter():
    refused("set_flat 33.1 mm", "(33 mm)", container={"set_flat": 33.1})


def test_every_contradiction_is_told_at_once():
    text = refused(container={"diameter": 95})
    assert [line.split(":")[0] for line in text.splitlines()] == ["column.width", "column.throat", "rotor.pocket_width"]


def test_parts_already_made_are_taken_and_still_checked():
    parts = {"column": Column(**BASE["column"]), "rotor": Rotor(**BASE["rotor"]), "loading": BASE["loading"]}
    assert Scenario(container=Container(**BASE["container"]), **parts) == scenario()
    with pytest.raises(ScenarioError, match=r"column\.width: got 90 mm"):
        Scenario(container=Container(diameter=95, mass=0.5), **parts)
