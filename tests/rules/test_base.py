"""A profile that builds on another says only what differs; what is wrong is told in the file it stands in."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from benchsim.ground.errors import BadInput, ManyBadInputs
from benchsim.rules.profile import Profile, load_profile

HEAD = 'base = "hb44-iii"\ntitle = "ours"\n'
BAND = 'motion_band_d = { value = 0.7, clause = "ours", mark = "computed" }\n'


def own(folder: Path, text: str, name: str = "ours.toml") -> str:
    (folder / name).write_text(text, "utf-8")
    return str(folder / name)


def told(path: str) -> str:
    with pytest.raises((BadInput, ManyBadInputs)) as caught:
        load_profile(path)
    return str(caught.value)


def differs(one: Profile, two: Profile) -> set[str]:
    values = [{e.key: e.value for e in profile.entries} for profile in (one, two)]
    return {key for key in values[0] | values[1] if values[0].get(key) != values[1].get(key)}


def test_only_what_differs_stands_in_the_file(tmp_path: Path) -> None:
    ours = load_profile(own(tmp_path, HEAD + "[motion]\n" + BAND))
    base = load_profile("hb44-iii")
    assert differs(ours, base) == {"motion.motion_band_d"}
    assert (ours.name, ours.title, ours.motion_band_d) == ("ours", "ours", Decimal("0.7"))
    assert (ours.standard, ours.accuracy_class, ours.kind) == (
        base.standard,
        base.accuracy_class,
        base.kind,
    )
    assert [Path(file).name for file in ours.files] == ["ours.toml", "hb44-iii.toml"]
    assert (ours.entry("motion_band_d").clause, ours.entry("motion_band_d").mark) == ("ours", "computed")
    assert Path(ours.entry("motion_band_d").file).name == "ours.toml"
    assert Path(ours.entry("stable_for_ms").file).name == "hb44-iii.toml"


def test_whether_limits_count_d_or_e_is_one_line(tmp_path: Path) -> None:
    """HB 44 2.20 mixes d and e and a correction was proposed (seen): whoever reads e writes that."""
    counted = '[intervals]\nlimits_count_in = { value = "e", clause = "SCL-23.3", mark = "seen" }\n'
    ours = load_profile(own(tmp_path, HEAD + counted))
    assert ours.limits_count_in == "e"
    assert {ours.entry(key).unit for key in ("motion_band_d", "bands", "creep_30min_d")} == {"e"}
    assert ours.entry("motion_band_d").shown == "1 e"
    assert ours.entry("discrimination_load_d").shown == "1.4 d"


def test_what_the_base_has_can_be_taken_away_and_what_it_lacks_be_added(tmp_path: Path) -> None:
    text = """
        base = "hb44-iiil-vehicle"
        title = "ours"
        [tolerance]
        beyond = { value = "none", clause = "ours", mark = "memory" }
        bands = { value = [["no limit", 1]], clause = "ours", mark = "memory" }
        at_most = { value = 9, clause = "ours", mark = "memory" }
        [intervals]
        n_max = { value = "no limit", clause = "ours", mark = "memory" }
    """
    ours = load_profile(own(tmp_path, text))
    assert (ours.tolerance.beyond, ours.n_max) == (None, None)
    assert ours.tolerance.at_most == 9
    assert ours.entry("n_max").shown == "no limit"
    assert ours.entry("beyond").shown == "none"


def test_a_chain_takes_each_value_from_the_nearest_file(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    own(tmp_path, HEAD + "[motion]\n" + BAND + BAND.replace("motion_band_d", "settled_within_d"), "a.toml")
    path = own(
        tmp_path / "site",
        'base = "../a.toml"\ntitle = "site"\nkind = "ours"\n[motion]\n' + BAND.replace("0.7", "0.8"),
        "b.toml",
    )
    site = load_profile(path)
    assert (site.motion_band_d, site.settled_within_d) == (Decimal("0.8"), Decimal("0.7"))
    assert (site.kind, site.accuracy_class) == ("ours", "III")
    assert [Path(file).name for file in site.files] == ["b.toml", "a.toml", "hb44-iii.toml"]


def test_an_error_names_the_file_in_which_it_stands(tmp_path: Path) -> None:
    own(tmp_path, HEAD + "[motion]\n" + BAND.replace("0.7", "7000") + "[zero]\nx = 1\n", "a.toml")
    text = 'base = "a.toml"\ntitle = "b"\n[motion]\n' + BAND.replace('"computed"', '"guessed"')
    lines = told(own(tmp_path, text, "b.toml")).splitlines()
    assert [line.partition(": ")[0] for line in lines] == [
        f"{tmp_path}/b.toml:4:49",
        f"{tmp_path}/a.toml:4:27",
        f"{tmp_path}/a.toml:6:1",
    ]
    assert "7000 is out of range" in lines[1]


def test_what_does_not_go_together_is_told_at_the_value_of_the_nearest_file(tmp_path: Path) -> None:
    text = HEAD + '[intervals]\nn_max = { value = 50, clause = "x", mark = "memory" }\n'
    for line in told(own(tmp_path, text)).splitlines():
        assert line.startswith(f"{tmp_path}/ours.toml:4:19: ")
    assert "n_min 100 is above n_max 50" in told(own(tmp_path, text))


def test_a_title_is_each_file_s_own(tmp_path: Path) -> None:
    assert "ours.toml: title is missing" in told(own(tmp_path, 'base = "hb44-iii"\n[motion]\n' + BAND))


@pytest.mark.parametrize(
    ("base", "says"),
    [
        ("3", ':1:1: base: 3 is not a text; write base = "'),
        ('""', ":1:1: base: '' is not a text"),
        ('"hb44-ii1"', ":1:1: base: unknown rule profile to build on 'hb44-ii1'; did you mean 'hb44-ii'?"),
        ('"none.toml"', ":1:1: base: "),
        ('"a\\u0000.toml"', ":1:1: base: unknown rule profile to build on"),
        ('"a\\nb.toml"', ":1:1: base: unknown rule profile to build on 'a\\nb.toml'"),
        ('"' + "x" * 5000 + '.toml"', ":1:1: base: "),
        ('".toml"', ":1:1: base: "),
    ],
)
def test_a_base_that_cannot_be_is_told_at_its_line(tmp_path: Path, base: str, says: str) -> None:
    assert f"ours.toml{says}" in told(own(tmp_path, f'base = {base}\ntitle = "t"\n'))


def test_a_base_that_is_no_toml_is_told_in_its_own_file(tmp_path: Path) -> None:
    own(tmp_path, "[zero", "a.toml")
    text = told(own(tmp_path, 'base = "a.toml"\ntitle = "t"\n'))
    assert text.startswith(f"{tmp_path}/a.toml")
    assert "not TOML" in text


@pytest.mark.parametrize("ring", [("a",), ("a", "b"), ("a", "b", "c")])
def test_a_chain_that_comes_back_to_itself_is_refused(tmp_path: Path, ring: tuple[str, ...]) -> None:
    for name, after in zip(ring, (*ring[1:], ring[0]), strict=True):
        own(tmp_path, f'title = "t"\nbase = "{after}.toml"\n', f"{name}.toml")
    words = " on ".join(f"{name}.toml" for name in (*ring, ring[0]))
    text = told(str(tmp_path / "a.toml"))
    assert text == (
        f"{tmp_path}/{ring[-1]}.toml:2:1: base: {words}: that goes round in circles; take one base away"
    )


def test_a_chain_that_comes_back_by_way_of_a_link_is_refused(tmp_path: Path) -> None:
    own(tmp_path, 'title = "t"\nbase = "b.toml"\n', "a.toml")
    (tmp_path / "b.toml").symlink_to("a.toml")
    assert "goes round in circles" in told(str(tmp_path / "a.toml"))


def test_a_file_with_the_name_of_a_shipped_profile_may_build_on_that(tmp_path: Path) -> None:
    ours = load_profile(own(tmp_path, HEAD + "[motion]\n" + BAND, "hb44-iii.toml"))
    assert ours.motion_band_d == Decimal("0.7")


def test_a_missing_value_says_how_to_write_it_where_no_base_has_it(tmp_path: Path) -> None:
    own(tmp_path, 'title = "a"\nstandard = "s"\nclass = "c"\nkind = "k"\n', "a.toml")
    text = told(own(tmp_path, 'base = "a.toml"\ntitle = "b"\n[motion]\n' + BAND, "b.toml"))
    assert f"{tmp_path}/b.toml:3:1: stable_for_ms is missing in [motion]; write stable_for_ms = {{" in text
    assert "motion_band_d" not in text
