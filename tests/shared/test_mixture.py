"""Fuels, blends, lambda."""

from shared_math import mixture


def near(a, b, part):
    return abs(a - b) <= part * abs(b)


def test_stoichiometry_by_hand():
    # Hydrogen: half a mol of oxygen's air to 2.016 g
    assert near(mixture.stoich_afr(0, 2, 0), mixture.ISA / 2 / 2.016, 1e-6)
    # Scaling the formula changes nothing
    assert near(mixture.stoich_afr(8, 18, 0), mixture.stoich_afr(4, 9, 0), 1e-6)


def test_what_needs_no_air_is_refused():
    for c, h, o in ((0, 0, 0), (1, 0, 2), (0, 0, 2), (1, 2, 4)):
        try:
            mixture.stoich_afr(c, h, o)
        except ValueError:
            continue
        raise AssertionError((c, h, o))


def test_blends():
    by_mass = mixture.blend_by_mass([(0.9, 14.0), (0.1, 9.0)])
    assert near(by_mass, 13.5, 1e-6)
    assert near(mixture.blend_by_mass([(90, 14.0), (10, 9.0)]), by_mass, 1e-6)
    # Equal densities: volume is mass; twice the density: twice the mass
    assert near(mixture.blend_by_volume([(0.9, 14.0, 700), (0.1, 9.0, 700)]), by_mass, 1e-6)
    assert near(mixture.blend_by_volume([(1, 14.0, 500), (1, 9.0, 1000)]), (14.0 + 18.0) / 3, 1e-6)


def test_fuel_in_each_way_of_the_configuration():
    petrol = mixture.fuel({"name": "petrol"})
    assert petrol["name"] == "petrol"
    assert near(mixture.fuel({"name": "mine", "c": 1, "h": 1.85})["stoich_afr"], petrol["stoich_afr"], 1e-6)
    given = mixture.fuel({"name": "mine", "stoich": 14.6})
    assert given["stoich_afr"] == 14.6 and "given" in given["source"]
    parts = [{"name": "petrol", "part": 90}, {"name": "ethanol", "part": 10}]
    by_volume = mixture.fuel({"name": "x", "blend": parts})["stoich_afr"]
    by_mass = mixture.fuel({"name": "x", "blend": parts, "by": "mass"})["stoich_afr"]
    assert near(by_volume, mixture.fuel({"name": "E10"})["stoich_afr"], 1e-6)
    assert by_volume < by_mass < petrol["stoich_afr"]  # ethanol is the denser one
    own = [{"name": "a", "part": 0.5, "c": 1, "h": 4, "o": 1, "density_kg_m3": 800}, {"name": "petrol", "part": 0.5}]
    assert 6.5 < mixture.fuel({"name": "x", "blend": own})["stoich_afr"] < 14.5
    for name in mixture.FUELS:
        assert 1 < mixture.fuel({"name": name})["stoich_afr"] < 40
        assert mixture.is_known(name)
    assert not mixture.is_known("water")
