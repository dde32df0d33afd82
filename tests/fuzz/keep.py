"""Chooses a small corpus: keep.py <control file of -merge=1> <folder of what was found> <folder to keep> <bytes>

Takes, again and again, the input that adds the most features for its bytes, until there are 60 or the bytes are used up.
"""

import pathlib
import shutil
import sys

control, found, keep, most = sys.argv[1], *map(pathlib.Path, sys.argv[2:4]), int(sys.argv[4])
lines = pathlib.Path(control).read_text().splitlines()
names = lines[2 : 2 + int(lines[0])]
features = {}
for line in lines[2 + int(lines[0]) :]:
    word, n, *rest = line.split()
    if word == "FT":
        features[names[int(n)]] = set(rest)
sizes = {name: max(1, pathlib.Path(name).stat().st_size) for name in features}
keep.mkdir(parents=True, exist_ok=True)
seen, used = set(), 0
while len(list(keep.iterdir())) < 60:
    fits = [n for n in features if used + sizes[n] <= most]
    best = max(fits, key=lambda n: len(features[n] - seen) / (sizes[n] + 50), default=None)
    if best is None or not features[best] - seen:
        break
    seen |= features.pop(best)
    used += sizes[best]
    shutil.copy(best, keep / pathlib.Path(best).name[:16])
print(f"{keep}: {len(list(keep.iterdir()))} inputs, {used} bytes, {len(seen)} features")
