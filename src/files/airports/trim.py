"""Trims airports.csv of the Python package airportsdata to airports.csv of this folder: python3 trim.py FULL.csv > airports.csv

Kept: identifier, latitude, longitude, elevation (ft), name, as they stand. One row for the ICAO code (for fields without one the
set gives K + FAA identifier, or the FAA identifier where that has four characters), and one more for an FAA identifier that
is neither the code nor the code without its K. Left out: rows whose code begins with _, which nobody can type. Sorted by the
bytes of the identifier, so that it can be searched in place; the name is last, so that it may hold commas.
"""

import csv
import sys

rows = {}
with open(sys.argv[1], encoding="utf-8", newline="") as file:
    for row in csv.DictReader(file):
        code, lid = row["icao"], row["lid"]
        if code.startswith("_"):
            continue
        rest = ",".join([row["lat"], row["lon"], row["elevation"], " ".join(row["name"].split())])
        for ident in {code} | ({lid} if lid and code not in (lid, "K" + lid) else set()):
            assert ident.isascii() and ident.isalnum() and ident == ident.upper() and ident not in rows, ident
            rows[ident] = rest
out = sys.stdout.buffer
out.write(b"ident,lat_deg,lon_deg,elevation_ft,name\n")
for ident in sorted(rows):
    out.write(f"{ident},{rows[ident]}\n".encode())
