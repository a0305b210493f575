"""How another program reads a cue list: export --to json, then python read_cue_list.py SONG.list.json."""

import json
import sys

with open(sys.argv[1], encoding="utf-8") as file:
    song = json.load(file)
looks = {look["id"]: look["name"] for look in song["looks"]}
bars = {bar["number"]: bar for bar in song["bars"]}
print(song["title"], f"{len(bars)} bars", f"{len(song['beats'])} beats", sep=", ")
for cue in song["cues"]:
    tempo = bars[cue["bar"]]["tempo"] if cue["bar"] in bars else None
    go = "by itself" if cue["automatic"] else "by hand"
    print(cue["timecode"], cue["seconds"], cue["bar"], cue["beat"], tempo, go, looks.get(cue["look"]), cue["hand"])
