"""What a reading says of its samples."""

from dataclasses import replace

from colormatch.records import Card, CardKind, Flag, Lab, Light, Photo, Reading, Sample

COARSE = Flag("coarse-grain", "The grain is coarse.", 4.0)


def test_a_doubt_names_the_samples_it_is_about_once() -> None:
    named = Flag("small-patch", "The region 'rail' is small.", 90.0)
    rail = Sample("rail", Lab(50, 5, 20), 0.5, 4.0, 900, flags=(COARSE, named))
    door = replace(rail, name="door", flags=(COARSE,))
    reading = Reading(
        Photo(10, 10, "PNG", "", "sRGB", ""), Card(CardKind.NONE, None, "none"), Light(None), (rail, rail, door)
    )
    assert [flag.text for flag in reading.doubts_about_samples()] == ["rail, door: The grain is coarse.", named.text]
    assert reading.doubts_about_samples()[0].value == COARSE.value
