"""What the demo's lineaments are compared with: the lines of its dykes, from the truth files."""

import json

import numpy as np
import polars as pl

#: A lineament lies on a dyke when its corners are this near to the dyke's line [m].
NEAR_M = 11.0


def dyke_lines(folder):
    """Return a place of each dyke's top, its strike [deg] and its unit vector, by name."""
    crossings = pl.read_csv(folder / "truth" / "dyke_crossings.csv")
    found = {}
    for name in crossings["body"].unique().sort().to_list():
        own = crossings.filter(body=name)
        strike = float(own["strike_deg"][0])
        turn = np.radians(strike)
        middle = np.array([own["easting_m"].mean(), own["northing_m"].mean()])
        found[name] = (middle, strike, np.array([np.sin(turn), np.cos(turn)]))
    return found


def owners(folder):
    """Return the dyke on whose line each traced lineament lies, None where on none."""
    products = folder / "products"
    points = pl.read_parquet(products / "lineament_points.parquet")
    lineaments = pl.read_parquet(products / "lineaments.parquet").filter(pl.col("kind") != "spot")
    told = {}
    for name in lineaments["lineament"].to_list():
        place = points.filter(lineament=name).select("easting_m", "northing_m").to_numpy()
        told[name] = None
        for dyke, (middle, _, along) in dyke_lines(folder).items():
            aside = (place - middle) @ [along[1], -along[0]]
            if np.median(np.abs(aside)) <= NEAR_M:
                told[name] = dyke
    return told


def true_offset(folder):
    """Return the offset of D2b to the right of D2a's line [m]."""
    lines = dyke_lines(folder)
    (first, _, along), (second, _, _) = lines["D2a"], lines["D2b"]
    return float((second - first) @ [along[1], -along[0]])


def checked(folder):
    """Check strikes, the fault and the notes of the demo's lineaments."""
    products = folder / "products"
    lineaments = pl.read_parquet(products / "lineaments.parquet")
    own, lines = owners(folder), dyke_lines(folder)
    assert None not in own.values()
    assert set(own.values()) == {"D1", "D2a", "D2b", "D3"}
    for row in lineaments.filter(pl.col("kind") != "spot").iter_rows(named=True):
        off = (row["strike_deg"] - lines[own[row["lineament"]]][1] + 90) % 180 - 90
        assert abs(off) < 3 * row["strike_sd_deg"]
    (fault,) = pl.read_parquet(products / "faults.parquet").to_dicts()
    assert {own[fault["first"]], own[fault["second"]]} == {"D2a", "D2b"}
    assert abs(fault["offset_m"] - true_offset(folder)) < 2.5 * fault["sd_m"]
    notes = json.loads((products / "steps" / "trace_notes.json").read_text())
    assert any(item["what"] == "ground near steel" for item in notes["left_out"])
