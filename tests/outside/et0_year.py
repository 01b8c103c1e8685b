"""Makes tests/reference/et0-year.csv: a year of days of reference evapotranspiration by outside libraries.

    python3 -m venv target/et0 && target/et0/bin/pip install pyet==1.5.0 refet==0.5.0
    target/et0/bin/python3 tests/outside/et0_year.py > tests/reference/et0-year.csv

The weather is made here from a fixed seed, one place north of the line and one south; it is nobody's. pyet and refet are
general hydrology libraries; neither knows of ponds. The table is committed, and `tests/evaporation.rs` reads it: this
script runs again only when the table is to be made anew.
"""

import math
from importlib.metadata import version

import numpy as np
import pandas as pd
import pyet
import refet

# Name, latitude in degrees, altitude in m, mean warmth in °C, its swing over the year, daily range, humidity, sunshine.
PLACES = [
    ("north", 55.2, 140.0, 9.5, 7.0, 7.5, 0.80, 0.40),
    ("south", -33.9, 1510.0, 16.0, 6.5, 13.0, 0.55, 0.65),
]


def weather(row, generator):
    """A year of days: a season, and days that hang on to the one before."""
    _, latitude, _, mean, swing, spread, humidity, sun = row
    days = pd.date_range("2025-01-01", "2025-12-31")
    warmest_on = 200 if latitude > 0 else 17
    season = np.cos(2.0 * math.pi * (days.dayofyear.to_numpy() - warmest_on) / 365.0)
    mood = np.zeros(len(days))
    for day in range(1, len(days)):
        mood[day] = 0.7 * mood[day - 1] + generator.normal(0.0, 1.0)
    middle = mean + swing * season + 2.0 * mood
    half = 0.5 * np.clip(spread * (1.0 + 0.25 * generator.normal(size=len(days))), 1.0, None)
    above = pyet.extraterrestrial_r(days, math.radians(latitude)).to_numpy()
    clear = np.clip(sun + 0.2 * generator.normal(size=len(days)), 0.0, 0.97)
    table = pd.DataFrame(
        {
            "warmest": np.round(middle + half, 1),
            "coldest": np.round(middle - half, 1),
            "humidity": np.round(100.0 * np.clip(humidity - 0.15 * (clear - sun) + 0.06 * generator.normal(size=len(days)), 0.2, 1.0), 0),
            "wind": np.round(np.clip(generator.gamma(3.0, 0.85, len(days)), 0.2, None), 1),
            "sunlight": np.round((0.25 + 0.5 * clear) * above, 2),
        },
        index=days,
    )
    return table


def main():
    generator = np.random.default_rng(20260211)
    print(f"# Reference evapotranspiration of a day, mm: pyet {version('pyet')} (pm_fao56, hargreaves) and refet {version('refet')}")
    print("# (Daily.eto), both general hydrology libraries from PyPI, on weather made from a seed: tests/outside/et0_year.py.")
    print("# Degrees north, m; °C, % (mean), m/s at 2 m, MJ/(m²·day) at the ground.")
    print("latitude,altitude,day,warmest,coldest,humidity,wind,sunlight,above,pyet,refet,hargreaves")
    for row in PLACES:
        _, degrees, altitude, *_ = row
        latitude = math.radians(degrees)
        t = weather(row, generator)
        mean = (t.warmest + t.coldest) / 2.0
        above = pyet.extraterrestrial_r(t.index, latitude).to_numpy()
        one = pyet.pm_fao56(
            mean, t.wind, rs=t.sunlight, tmax=t.warmest, tmin=t.coldest, rh=t.humidity, elevation=altitude, lat=latitude, clip_zero=False
        )
        pressure = pyet.calc_ea(tmax=t.warmest, tmin=t.coldest, rh=t.humidity)
        two = refet.Daily(
            tmin=t.coldest.to_numpy(), tmax=t.warmest.to_numpy(), ea=pressure.to_numpy(), rs=t.sunlight.to_numpy(),
            uz=t.wind.to_numpy(), zw=2.0, elev=altitude, lat=degrees, doy=t.index.dayofyear.to_numpy(), method="asce",
        ).eto()
        plain = pyet.hargreaves(mean, t.warmest, t.coldest, latitude)
        for number, (day, w) in enumerate(t.iterrows()):
            print(
                f"{degrees},{altitude},{day.dayofyear},{w.warmest},{w.coldest},{w.humidity:.0f},{w.wind},{w.sunlight},"
                f"{above[number]:.3f},{one.iloc[number]:.4f},{two[number]:.4f},{plain.iloc[number]:.4f}"
            )


if __name__ == "__main__":
    main()
