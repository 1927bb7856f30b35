"""Lambda, air-fuel ratio, equivalence ratio, fuels and their blends.

Lambda is the primary quantity. An air-fuel ratio is lambda times a constant of the fuel, computed here from its
composition and dry air. Published constants differ by up to 1 %, mostly because of the air that they assume.
"""

# IUPAC standard atomic weights (abridged), g/mol
C = 12.011
H = 1.008
O = 15.999  # noqa: E741
N = 14.007

# Dry air, mole fractions of the standard atmosphere (ISO 2533 / US Standard Atmosphere 1976): N2, O2, Ar, CO2
_N2, _O2, _AR, _CO2 = 0.78084, 0.209476, 0.00934, 0.000314
_AR_WEIGHT = 39.95
ISA = (_N2 * 2 * N + _O2 * 2 * O + _AR * _AR_WEIGHT + _CO2 * (C + 2 * O)) / _O2  # g of air per mol of O2

# name -> (C, H, O, N atoms, kg/m3 liquid or None for gases). Petrol's CH1.85 and the densities (about 15-20 degC)
# are common values, not from a standard: pump fuel varies.
FUELS = {
    "petrol": (1, 1.85, 0, 0, 745.0),
    "iso-octane": (8, 18, 0, 0, 692.0),
    "toluene": (7, 8, 0, 0, 867.0),
    "ethanol": (2, 6, 1, 0, 789.3),
    "methanol": (1, 4, 1, 0, 792.0),
    "nitromethane": (1, 3, 2, 1, 1137.0),
    "propane": (3, 8, 0, 0, None),
    "methane": (1, 4, 0, 0, None),
    "hydrogen": (0, 2, 0, 0, None),
}
# Names at the pump -> volume share of ethanol in petrol
ETHANOL_BLENDS = {"e5": 0.05, "e10": 0.10, "e20": 0.20, "e30": 0.30, "e85": 0.85}


def stoich_afr(c, h, o, n=0, air=ISA):
    """Mass of dry air that exactly burns a unit mass of fuel C_c H_h O_o N_n to CO2, H2O and N2.

    air: grams of air per mol of oxygen. ValueError when the fuel needs no oxygen.
    """
    oxygen = c + h / 4 - o / 2
    weight = c * C + h * H + o * O + n * N
    if oxygen <= 0 or weight <= 0:
        raise ValueError("a fuel of this composition needs no air")
    return oxygen * air / weight


def blend_by_mass(parts):
    """Stoichiometric ratio of a blend from [(mass part, stoich_afr)...]; the parts need not add up to 1."""
    total = air = 0.0
    for part, stoich in parts:
        total += part
        air += part * stoich
    return air / total


def blend_by_volume(parts):
    """Stoichiometric ratio of a blend from [(volume part, stoich_afr, density)...], volumes before mixing."""
    return blend_by_mass([(part * density, stoich) for part, stoich, density in parts])


def is_known(name):
    """Whether a fuel of this name needs no composition."""
    return name.lower() in FUELS or name.lower() in ETHANOL_BLENDS


def _one(cfg):
    """(stoich_afr, density or None, source) of an unblended fuel."""
    if "c" in cfg or "h" in cfg:
        c, h, o, n = cfg.get("c", 0), cfg.get("h", 0), cfg.get("o", 0), cfg.get("n", 0)
        return stoich_afr(c, h, o, n), cfg.get("density_kg_m3"), "computed from the composition given, dry air"
    name = cfg["name"].lower()
    if name in ETHANOL_BLENDS:
        part = ETHANOL_BLENDS[name]
        petrol, petrol_density, _ = _one({"name": "petrol"})
        ethanol, ethanol_density, _ = _one({"name": "ethanol"})
        density = (1 - part) * petrol_density + part * ethanol_density
        stoich = blend_by_volume([(1 - part, petrol, petrol_density), (part, ethanol, ethanol_density)])
        return stoich, cfg.get("density_kg_m3", density), "computed, ethanol in petrol by volume, dry air"
    c, h, o, n, density = FUELS[name]
    return stoich_afr(c, h, o, n), cfg.get("density_kg_m3", density), "computed from the composition, dry air"


def density_of(cfg):
    """Density of an unblended fuel's liquid in kg/m3; None if it is not known (gases, bare compositions)."""
    if "density_kg_m3" in cfg:
        return cfg["density_kg_m3"]
    if "c" in cfg or "h" in cfg:
        return None
    return _one(cfg)[1]


def fuel(cfg):
    """{"name", "stoich_afr", "source"} of a configuration's `fuel`: a known name, a composition, a blend or a constant.

    cfg must have passed config.check.
    """
    name = cfg["name"]
    if "stoich" in cfg:
        return {"name": name, "stoich_afr": cfg["stoich"], "source": "constant given in the configuration"}
    if "blend" not in cfg:
        stoich, _, source = _one(cfg)
        return {"name": name, "stoich_afr": stoich, "source": source}
    by_mass = cfg.get("by") == "mass"
    parts = []
    for part in cfg["blend"]:
        stoich, density, _ = _one(part)
        parts.append((part["part"], stoich) if by_mass else (part["part"], stoich, density))
    stoich = blend_by_mass(parts) if by_mass else blend_by_volume(parts)
    source = "computed, blend by " + ("mass" if by_mass else "volume") + ", dry air"
    return {"name": name, "stoich_afr": stoich, "source": source}
