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


def test_nitrogen_of_the_fuel_is_weighed():
    # CH3NO2 needs 1 + 3/4 - 2/2 = 0.75 mol of oxygen, in 0.75 x 138.27 = 103.70 g of air, and weighs 12.011 + 3 x 1.008
    # + 2 x 15.999 + 14.007 = 61.040 g: 1.6989; without its nitrogen it would be 2.205
    assert near(mixture.fuel({"name": "nitromethane"})["stoich_afr"], 1.6989, 1e-4)
    assert near(mixture.fuel({"name": "x", "c": 1, "h": 3, "o": 2, "n": 1})["stoich_afr"], 1.6989, 1e-4)


def test_density_of_a_pump_fuel():
    assert near(mixture.density_of({"name": "petrol"}), 745.0, 1e-6)
    assert near(mixture.density_of({"name": "e10"}), 749.43, 1e-6)  # 0.9 x 745 + 0.1 x 789.3
    assert near(mixture.density_of({"name": "E85"}), 782.655, 1e-6)  # 0.15 x 745 + 0.85 x 789.3
    assert mixture.density_of({"name": "methane"}) is None
    assert mixture.density_of({"name": "mine", "c": 1, "h": 2}) is None


def test_a_blend_of_pump_fuels_weighs_each_by_its_own_density():
    # A litre each of E85 (0.782655 kg) and petrol (0.745 kg at 14.5736). E85 is 0.11175 kg of petrol and 0.670905 kg of
    # ethanol at 9.0041: (0.11175 x 14.5736 + 0.670905 x 9.0041) / 0.782655 = 9.7993. Together (0.782655 x 9.7993 +
    # 0.745 x 14.5736) / 1.527655 = 12.1276
    parts = [{"name": "e85", "part": 1}, {"name": "petrol", "part": 1}]
    assert near(mixture.fuel({"name": "x", "blend": parts})["stoich_afr"], 12.1276, 1e-4)


def test_a_configured_density_counts():
    # Petrol of 700 instead of 745 kg/m3: (0.7 x 14.5736 + 0.7893 x 9.0041) / 1.4893 = 11.6219
    parts = [{"name": "petrol", "part": 1, "density_kg_m3": 700.0}, {"name": "ethanol", "part": 1}]
    assert near(mixture.fuel({"name": "x", "blend": parts})["stoich_afr"], 11.6219, 1e-4)
    # E10 of 700: (0.7 x 13.98697 + 0.7893 x 9.0041) / 1.4893 = 11.3461
    parts = [{"name": "e10", "part": 1, "density_kg_m3": 700.0}, {"name": "ethanol", "part": 1}]
    assert near(mixture.fuel({"name": "x", "blend": parts})["stoich_afr"], 11.3461, 1e-4)
    own = [{"name": "mine", "part": 1, "c": 1, "h": 1.85, "density_kg_m3": 700.0}, {"name": "ethanol", "part": 1}]
    assert near(mixture.fuel({"name": "x", "blend": own})["stoich_afr"], 11.6219, 1e-4)
