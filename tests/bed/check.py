"""What `copperwalk bed` wrote, by readers from outside: the drill file by gerber-parser (npm), the DXF by ezdxf, the STL by trimesh (PyPI),
the drawings at 1:1 as poppler prints them. Where every hole should be is worked out here anew, from the fixture and the board file.

Usage: check.py FOLDER"""

import csv
import json
import subprocess
import sys
import tomllib
from pathlib import Path

import ezdxf
import numpy
import trimesh

MICROMETRE = 1e-3
folder, here = Path(sys.argv[1]), Path(__file__).parent


def read(name):
    return tomllib.loads((folder / name).read_text())


fixture = read("fixture.toml")
board = read(fixture["fixture"]["board"])
margin = 20.0  # what docs/make-a-bed.md states where [bed] says nothing
if "bed" in fixture:
    margin = float(fixture["bed"].get("margin", "20 mm").removesuffix(" mm"))


def pins():
    """Label, face and place on the board of every pin, as the two files say them."""
    for name, pin in fixture["pins"].items():
        point = board["points"][name]
        face = point["side"] if point["side"] != "both" else pin["side"]
        for line in ("force", "sense"):
            if line in pin:
                yield f"{line[0].upper()}{pin[line]}", face, pin.get(f"{line}_at", point["at"])


faces = {face: sum(pin[1] == face for pin in pins()) for face in ("front", "back")}
below = "front" if faces["front"] > faces["back"] else "back"
xs, ys = zip(*board["board"]["outline"])

for level, face in (("bottom", below), ("top", {"front": "back", "back": "front"}[below])):
    # A plate that touches the back lies as the board file has it; one that touches the front is looked at from behind the board.
    def placed(at):
        x = max(xs) - at[0] if face == "front" else at[0] - min(xs)
        return numpy.array([x + margin, at[1] - min(ys) + margin])

    drills = subprocess.run(["node", here / "drills.mjs", folder / f"{level}.xnc"], capture_output=True, check=True)
    holes = numpy.array(json.loads(drills.stdout))
    wanted = [placed(at) for _, own, at in pins() if own == face]
    for at in wanted:
        off = numpy.hypot(*(holes[:, :2] - at).T).min()
        assert off <= MICROMETRE, f"{level}: a pin at {at} is {off} mm off"
    with open(folder / "holes.csv") as file:
        listed = [row for row in csv.DictReader(file) if row["plate"] == level]
    assert len(listed) == len(holes), f"{level}: {len(listed)} holes listed, {len(holes)} drilled"
    assert sum(bool(row["point"]) for row in listed) == len(wanted)
    # No two holes run into each other, and none over the edge.
    size = numpy.array([max(xs) - min(xs), max(ys) - min(ys)]) + 2 * margin
    for i, (x, y, drill) in enumerate(holes):
        assert drill / 2 < x < size[0] - drill / 2 and drill / 2 < y < size[1] - drill / 2
        for u, v, other in holes[:i]:
            assert numpy.hypot(x - u, y - v) > (drill + other) / 2 + 0.2, (x, y, u, v)

    drawing = ezdxf.readfile(folder / f"{level}.dxf")
    assert drawing.dxfversion == "AC1009" and not drawing.audit().errors
    circles = numpy.array([[circle.dxf.center.x, circle.dxf.center.y, 2 * circle.dxf.radius] for circle in drawing.modelspace().query("CIRCLE")])
    order = lambda rows: rows[numpy.lexsort(rows.round(3).T)]
    assert numpy.abs(order(circles) - order(holes)).max() <= MICROMETRE

    body = trimesh.load(folder / f"{level}.stl")
    assert body.is_watertight and body.is_winding_consistent
    assert body.euler_number == 2 - 2 * len(holes), "as many holes go through it as are drilled"
    area = size.prod() - sum(numpy.pi * drill**2 / 4 for _, _, drill in holes)
    thickness = body.bounds[1][2] - body.bounds[0][2]
    assert abs(body.volume / (area * thickness) - 1) < 1e-3, "the volume of a plate with round holes"
    print(f"{level} plate: {len(holes)} holes, {len(wanted)} of them for pins")


def runs(dark):
    """Length of the longest dark run of every row, pixels."""
    longest = numpy.zeros(dark.shape[0], int)
    length = numpy.zeros(dark.shape[0], int)
    for column in dark.T:
        length = (length + 1) * column
        longest = numpy.maximum(longest, length)
    return longest


DPI = 600
count = int(subprocess.run(["pdfinfo", folder / "sheets.pdf"], capture_output=True, text=True, check=True).stdout.split("Pages:")[1].split()[0])
picture = folder / "last.pgm"
with open(picture, "wb") as file:
    command = ["pdftoppm", "-r", str(DPI), "-gray", "-f", str(count), "-l", str(count), folder / "sheets.pdf"]
    subprocess.run(command, stdout=file, check=True)
with open(picture, "rb") as file:
    assert file.readline() == b"P5\n"
    width, height = map(int, file.readline().split())
    file.readline()
    page = numpy.frombuffer(file.read(), numpy.uint8).reshape(height, width) < 128
picture.unlink()
millimetre = DPI / 25.4
# The square stands at the left, below everything else.
part = page[height * 70 // 100 :, : int(66 * millimetre)]
for name, dark in (("height", part), ("width", part.T)):
    lines = numpy.flatnonzero(runs(dark) > 49 * millimetre)
    groups = numpy.split(lines, numpy.flatnonzero(numpy.diff(lines) > 5) + 1)
    middles = [group.mean() for group in groups if len(group) <= 8]
    side = (middles[-1] - middles[-2]) / millimetre
    assert abs(side - 50) <= 0.1, f"the {name} of the check square is {side:.3f} mm in print"
    print(f"{name} of the check square: {side:.3f} mm")
