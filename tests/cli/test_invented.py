"""match and mix: the example's paints beside the user's own."""

import json

from PIL import Image

from colormatch.library.starter import example

MATCH = ("match", "--target", "56,11,25", "--over", "72,6,19")


def test_invented_paints_stand_back_until_asked_for_and_are_called_so(run):
    assert run("library", "import").status == 0
    assert "(invented)" in run(*MATCH).out  # nothing of the user's own yet
    run("paint", "add", "My Umber", "--maker", "the shop")
    run(
        *("swatch", "add", "--paint", "My Umber", "--ratio", "1:3", "--coats", 1, "--lab", "55,11,22"),
        *("--ground", "rail", "--ground-lab", "70,5,20"),
    )
    own = run(*MATCH)
    assert "10 invented paints of the example" in own.out
    assert "Use --invented to rank the example's paints too." in own.out
    assert "(invented)" not in own.out
    washes = json.loads(run(*MATCH, "--json").out)["washes"]
    names = {part["name"] for wash in washes for layer in wash["layers"] for part in layer["paints"]}
    assert names == {"My Umber"}
    every = run(*MATCH, "--invented")
    assert "(invented)" in every.out
    assert "until you allow" not in every.out
    assert "Ochre (invented)" in run(*MATCH, "--paint", "Ochre").out  # asked for by its name
    assert "(invented)" in run("mix", "--paint", "Ochre", "--ratio", "1:3", "--area", "40cm2").out


def test_check_says_what_leaving_it_would_give(run):
    shown = example()
    with Image.open(shown.dried) as opened:
        size = opened.size
    boxes = {"sound": [], "repair": []}
    for region in shown.dried_regions:
        box = region.box(*size)
        boxes[str(region.kind)].append(f"{box.x},{box.y},{box.w},{box.h}")
    done = run("check", shown.dried, "--sound", *boxes["sound"], "--repair", *boxes["repair"])
    assert done.status == 0, done.err
    assert "(invented)" in done.out
    assert "Leave it as it is: expected ΔE " in done.out
