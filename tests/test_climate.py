"""The year: named, from bins, from a typical year; and what is wrong with a file."""

from pathlib import Path

import numpy as np
import pvlib
import pytest

from models.climate import climate, profiles, typical_year
from models.errors import CatalogueError
from models.spec import Climate as Section
from models.spec import ComplaintError

HERE = Path()
TMY3 = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
HEADER = "ambient [°C],irradiance [W/m²],hours [h]\n"


def write(folder, name, text):
    (folder / name).write_text(text, encoding="utf-8")
    return name


@pytest.mark.parametrize("name", profiles())
def test_a_named_year_has_all_its_hours_and_a_plausible_sun(name):
    year = climate(Section(profile=name), HERE)
    assert year.hours.sum() == pytest.approx(8760, rel=1e-12)
    assert 900 < year.irradiation < 2800  # kWh/m² in the plane of a module on earth
    assert 0.4 < year.hours[year.irradiance == 0].sum() / 8760 < 0.6


def test_hot_deserts_get_more_sun_and_heat_than_temperate_places():
    desert, mild = (climate(Section(profile=n), HERE) for n in ("hot_desert", "temperate"))
    assert desert.irradiation > 1.5 * mild.irradiation
    assert desert.ambient.max() > mild.ambient.max() + 10


def test_without_a_choice_the_year_is_temperate():
    chosen, default = climate(Section(profile="temperate"), HERE), climate(Section(), HERE)
    np.testing.assert_array_equal(chosen.hours, default.hours)


def test_an_unknown_profile_offers_the_nearest_and_all():
    with pytest.raises(ComplaintError, match="'temprate'") as caught:
        climate(Section(profile="temprate"), HERE)
    assert caught.value.remedy.startswith("did you mean 'temperate'? profiles: temperate,")


def test_own_bins_are_read_from_beside_the_specification(tmp_path):
    write(tmp_path, "mine.csv", HEADER + "10,0,4380\n25,700,4380.5\n")
    year = climate(Section(csv="mine.csv"), tmp_path)
    assert year.irradiance.tolist() == [0, 700]
    assert year.hours.sum() == pytest.approx(8760, rel=1e-12)


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        ("10,0,4380\n25,700,4378\n", "hours sum to 8758 h, not to 8760 h"),
        ("10,0,4380\n25,nan,4380\n", r"2nd.csv:3:4: row 3, column 'irradiance \[W/m²\]': 'nan'"),
        ("10,0,4380\n25,inf,4380\n", "is not a number"),
        ("10,0,4380\n25,1700,4380\n", "outside the accepted range"),
        ("10,0\n", "row 2 has 2 cells, the header 3"),
        ("", "has no rows"),
    ],
)
def test_bins_that_make_no_year_are_refused(tmp_path, rows, reason):
    write(tmp_path, "2nd.csv", HEADER + rows)
    with pytest.raises(CatalogueError, match=reason):
        climate(Section(csv="2nd.csv"), tmp_path)


@pytest.mark.parametrize(
    ("header", "reason"),
    [
        ("ambient,irradiance [W/m²],hours [h]\n", "did you mean 'ambient \\[°C\\]'"),
        ("ambient [°F],irradiance [W/m²],hours [h]\n", "unknown column 'ambient \\[°F\\]'"),
    ],
)
def test_a_wrong_header_is_explained(tmp_path, header, reason):
    write(tmp_path, "mine.csv", header + "10,0,8760\n")
    with pytest.raises(CatalogueError, match=reason):
        climate(Section(csv="mine.csv"), tmp_path)


@pytest.mark.parametrize("key", ["csv", "tmy"])
@pytest.mark.parametrize("name", ["absent.csv", "."])
def test_a_file_that_is_none_is_named(tmp_path, key, name):
    with pytest.raises(CatalogueError, match=r"not a file|no such file|No such file"):
        climate(Section(**{key: name}), tmp_path)


@pytest.mark.published("typical year of a northern coast, TMY3 file carried by pvlib")
def test_a_flat_module_receives_the_global_irradiation_of_the_file():
    sums = [line.split(",")[4] for line in TMY3.read_text().splitlines()[2:]]
    year = typical_year(TMY3, tilt=0, azimuth=180)
    assert year.irradiation == pytest.approx(sum(map(float, sums)) / 1e3, rel=2e-3)
    assert year.hours.sum() == pytest.approx(8760, rel=1e-12)
    assert year.ambient.min() < -5


def test_a_module_that_faces_the_noon_sun_receives_more():
    flat, south, north = (typical_year(TMY3, *view) for view in ((0, 180), (35, 180), (35, 0)))
    assert south.irradiation > 1.05 * flat.irradiation
    assert north.irradiation < 0.95 * flat.irradiation


def year_of(row, header, hours=8760):
    """Return a made-up year of equal days: hour, sun from 6 to 18 h."""
    lines = []
    for hour in range(hours):
        day, h = divmod(hour, 24)
        month, date = 1 + min(day // 30, 11), 1 + day % 30
        if month == 2:
            date = min(date, 28)
        sun = max(0.0, np.sin((h + 0.5 - 6) / 12 * np.pi)) * 800
        lines.append(row(month, date, h, sun))
    return header + "\n".join(lines) + "\n"


def epw(hours=8760, temperature=20.0):
    def row(month, date, h, sun):
        fields = [2001, month, date, h + 1, 0, "x", temperature, 10, 50, 101300, 0, 0, 0]
        fields += [sun, 0, sun] + [0] * 19
        return ",".join(map(str, fields))

    head = "LOCATION,nowhere,-,-,made up,0,0.0,0.0,0.0,10\n" + "X\n" * 7
    return year_of(row, head, hours)


def pvgis():
    def row(month, date, h, sun):
        return f"2001{month:02d}{date:02d}:{h:02d}00,20,50,{sun},0,{sun},300,1,90,101300"

    head = "Latitude (decimal degrees): 0.0\nLongitude (decimal degrees): 0.0\n"
    head += "Elevation (m): 10.0\nmonth,year\n"
    head += "".join(f"{m},2001\n" for m in range(1, 13))
    return year_of(row, head + "time(UTC),T2m,RH,G(h),Gb(n),Gd(h),IR(h),WS10m,WD10m,SP\n")


@pytest.mark.parametrize(("name", "text"), [("y.epw", epw()), ("y.csv", pvgis())])
def test_other_formats_of_typical_years_are_told_by_their_first_line(tmp_path, name, text):
    year = typical_year(tmp_path / write(tmp_path, name, text), tilt=0, azimuth=180)
    # Half a sine of 800 W/m² over 12 h: 800·(2/π)·12 h a day.
    assert year.irradiation == pytest.approx(0.8 * 2 / np.pi * 12 * 365, rel=0.01)
    np.testing.assert_allclose(year.ambient, 20.0, rtol=1e-12)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "no typical year"),
        ("hello\nworld\n", "no typical year"),
        ("LOCATION,nowhere\n", "no typical year"),
        ("Latitude (decimal degrees): north\n", "no typical year"),
        (epw(hours=100), "has 100 hours"),
        (epw(temperature=99.9), "temp_air is 99.9 in hour 1 .* absurd in 8760 hours"),
        (epw(temperature="?"), "temp_air is nan in hour 1"),
        (TMY3.read_text()[:900], "no typical year|has 0 hours|no column"),
    ],
)
def test_a_malformed_typical_year_is_refused(tmp_path, text, reason):
    path = tmp_path / write(tmp_path, "y.csv", text)
    with pytest.raises(CatalogueError, match=reason) as caught:
        typical_year(path, tilt=25, azimuth=180)
    assert str(path) in str(caught.value)
