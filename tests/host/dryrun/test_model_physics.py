"""The invented engine's formulas against worked figures from outside, and each part of the model against its own closed
form."""

import math

import numpy as np
import pytest

from ringpull.invented import car, engine, exhaust, fuelling

STEP_S = 0.001


def test_air_flow_worked_example():
    # Speed-density, VE Vd (N/120) MAP / (R T): 1.998 l, VE 0.95, 100 kPa, 303.15 K, 6000 rpm, R 287.05 J/kgK ->
    # 109.062 g/s (Heywood, 2.10: volumetric efficiency; computed); scaled to this engine's displacement
    got = engine.air_kg_s(6000.0, 100.0, 303.15, 0.95) * 1.998e-3 / engine.DISPLACEMENT_M3
    assert got * 1000.0 == pytest.approx(109.062, abs=0.001)


def test_volumetric_efficiency_is_plausible():
    # Common practice, no source: a tuned four-valve engine fills to 0.75-1.0 between 2500 and 7000 rpm at full load
    speeds = np.arange(2500, 7001, 250)
    filling = [engine.ve(float(rpm), 200.0) for rpm in speeds]
    assert min(filling) > 0.75 and max(filling) < 1.0


@pytest.mark.parametrize("ratio", [0.2, 0.5, 0.7, 0.9])
def test_throttle_flow_is_the_orifice_formula(ratio):
    # Compressible flow through an orifice (Heywood, appendix C): choked below (2/(k+1))^(k/(k-1)) = 0.5283
    k, area_m2, before_kpa, kelvin = 1.4, 5.0e-4, 150.0, 300.0
    if ratio < 0.5283:
        flow = math.sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))
    else:
        flow = ratio ** (1.0 / k) * math.sqrt(2.0 * k / (k - 1.0) * (1.0 - ratio ** ((k - 1.0) / k)))
    want = engine.THROTTLE_FLOW * area_m2 * before_kpa * 1000.0 / math.sqrt(287.05 * kelvin) * flow
    assert engine.throttle_kg_s(area_m2, before_kpa, before_kpa * ratio, kelvin) == pytest.approx(want, rel=2e-4)


def test_throttle_flow_ends_and_turns_at_equal_pressure():
    assert engine.throttle_kg_s(1e-3, 100.0, 100.0, 300.0) == 0.0
    assert engine.throttle_kg_s(1e-3, 100.0, 101.0, 300.0) < 0.0
    just_below, just_above = (engine.throttle_kg_s(1e-3, 100.0, p, 300.0) for p in (91.999, 92.001))
    assert just_below == pytest.approx(just_above, rel=1e-3)


def test_full_load_torque_and_efficiency_are_plausible():
    # Common practice, no source: a boosted petrol engine turns 22-32 % of the fuel's heat into work at full load
    rpm, map_kpa, lambda_ = 5000.0, 195.0, 0.80
    air = engine.air_kg_s(rpm, map_kpa, engine.intake_k(map_kpa))
    power_w = engine.torque_nm(rpm, air, map_kpa, lambda_) * rpm * math.pi / 30.0
    heat_w = air / (engine.STOICH_AFR * lambda_) * engine.HEATING_J_KG
    assert 0.22 < power_w / heat_w < 0.32


def test_road_load_worked_example():
    # 0.5 rho CdA v^2 + Crr m g: m 1400, v 30, CdA 0.65, rho 1.20, Crr 0.012 -> 351.000 + 164.752 N (Gillespie,
    # Fundamentals of Vehicle Dynamics, 4: road loads; computed with g 9.80665); each term scaled to this car's figures
    drag = 351.000 * (car.AIR_KG_M3 * car.CDA_M2) / (1.20 * 0.65)
    rolling = 164.752 * (car.CRR * car.MASS_KG) / (0.012 * 1400.0)
    assert car.road_load_n(30.0, 0.0) == pytest.approx(drag + rolling, rel=2e-4)


def test_grade_and_gears():
    assert car.road_load_n(30.0, 0.05) - car.road_load_n(30.0, 0.0) == pytest.approx(0.05 * car.MASS_KG * 9.81)
    # one turn of the wheel is 2 pi r: 100 km/h in top is 100/3.6 / (2 pi 0.285) turns a second
    wheel_rpm = 100.0 / 3.6 / (2.0 * math.pi * car.WHEEL_M) * 60.0
    assert car.rpm_per_kmh(5) * 100.0 == pytest.approx(wheel_rpm * 0.94 * 4.10)


def test_gripping_driveline_keeps_its_energy():
    """Without road, brake or torque the locked car keeps its speed; with torque, work equals the gain of energy."""
    line = car.Driveline(engine.INERTIA_KGM2, speed_m_s=15.0, gripping=True)
    turns = car.ratio(3) / car.WHEEL_M
    line.crank_rad_s = 15.0 * turns
    whole_kg = car.MASS_KG + car.WHEELS_KGM2 / car.WHEEL_M**2 + engine.INERTIA_KGM2 * turns**2
    before_j = 0.5 * whole_kg * 15.0**2
    work_j = 0.0
    for _ in range(2000):
        load_n = car.road_load_n(line.speed_m_s, 0.01)
        speed = line.speed_m_s
        line.step(STEP_S, 200.0, 3, 1.0, 0.0, 0.01)
        work_j += (200.0 * turns * car.DRIVELINE - load_n) * 0.5 * (speed + line.speed_m_s) * STEP_S
    assert 0.5 * whole_kg * line.speed_m_s**2 - before_j == pytest.approx(work_j, rel=1e-9)


def _steady(rpm, mass_kg_s, seconds=4.0):
    t_s = np.arange(0.0, seconds, STEP_S)
    return t_s, exhaust.arrival_s(t_s, np.full(len(t_s), rpm), np.full(len(t_s), mass_kg_s)) - t_s


@pytest.mark.parametrize(("rpm", "mass_kg_s"), [(3000.0, 0.05), (6000.0, 0.16)])
def test_steady_delay_is_cycle_part_plus_volume_over_flow(rpm, mass_kg_s):
    # 540 degrees of crank = 90/rpm s; pipe delay V rho / mdot (plug flow, by mass balance)
    _, delay_s = _steady(rpm, mass_kg_s)
    density = float(exhaust.density_kg_m3(np.array([mass_kg_s]))[0])
    assert delay_s[len(delay_s) // 2] == pytest.approx(90.0 / rpm + exhaust.VOLUME_M3 * density / mass_kg_s, abs=1e-6)


def test_pipe_delay_worked_example(monkeypatch):
    # 1.9635 l of exhaust (R 300.95 J/kgK) at 1100 K, 110 kPa: 5.54 ms at 6000 rpm wide open (computed
    # from V rho / mdot; the gas constant by Cantera). The flow: 109.062 g/s of air with the fuel of lambda 0.85.
    monkeypatch.setattr(exhaust, "VOLUME_M3", 1.9635e-3)
    monkeypatch.setattr(exhaust, "density_kg_m3", lambda flow: np.full(len(flow), 110e3 / (300.95 * 1100.0)))
    flow = 0.109062 * (1.0 + 1.0 / (0.85 * 14.57))
    _, delay_s = _steady(6000.0, flow)
    assert (delay_s[2000] - 90.0 / 6000.0) * 1000.0 == pytest.approx(5.54, abs=0.02)


def test_order_of_the_gas_is_kept_when_flow_jumps():
    t_s = np.arange(0.0, 3.0, STEP_S)
    flow = np.where(t_s < 1.5, 0.15, 0.004)
    arrival = exhaust.arrival_s(t_s, np.full(len(t_s), 4000.0), flow)
    assert np.all(np.diff(arrival) > 0) and np.all(arrival > t_s)


def test_sensor_lag_step():
    # First order: t63 = tau, t50 = 0.69315 tau, t90 = 2.30259 tau: closed form of 1 - exp(-t / tau)
    t_s = np.arange(0.0, 1.0, STEP_S)
    shown = exhaust.lagged(np.where(t_s >= 0.1, 1.0, 0.0), 0.08, STEP_S)
    for level, taus in ((0.5, 0.69315), (1.0 - math.exp(-1.0), 1.0), (0.9, 2.30259)):
        reached_s = float(np.interp(level, shown, t_s)) - 0.1
        assert reached_s == pytest.approx(taus * 0.08, abs=1.1 * STEP_S)


def test_injected_fuel_follows_the_root_of_its_pressure():
    # Flow goes with the root of the pressure across the orifice (Bernoulli): 300 -> 237 kPa makes lambda leaner by
    # sqrt(300/237)
    lambdas = []
    for across_kpa in (300.0, 237.0):
        fuel = fuelling.Fuelling()
        for _ in range(3000):
            now = fuel.step(STEP_S, 5000.0, 0.1, 195.0, 14.57, False, across_kpa)
        lambdas.append(now)
    assert lambdas[1] / lambdas[0] == pytest.approx(math.sqrt(300.0 / 237.0), rel=1e-4)
    assert lambdas[0] == pytest.approx(fuelling.target_lambda(195.0), abs=0.012)


def test_overrun_cut_has_hysteresis():
    fuel = fuelling.Fuelling()
    seen = []
    for rpm in (1400.0, 1600.0, 1300.0, 1240.0, 1400.0):
        fuel.step(STEP_S, rpm, 0.01, 25.0, 14.57, True, 300.0)
        seen.append(fuel.cut)
    assert seen == [False, True, True, False, False]
