"""Simulated photographs of wood, washes and reference cards, with their truth.

Real: the light spectra, the observer, the camera's sensitivities and the 24-patch chart's reflectances (published
tables, read from colour-science). Invented: the woods, the paints, the cards' and the bench's reflectances, and what
the camera does after the sensor. A scene is built from reflectances, so the CIELAB of anything in it is known exactly,
whatever light and camera photograph it. Nothing here imports colormatch: the simulator is a second opinion on its
physics.

    spectra   wavelengths, lights, observer, Lab of a reflectance
    surface   a texture as areal shares of reflectances: the one thing scenes are made of
    woods     invented wood reflectances and grain
    paints    invented paints and how their washes dry
    things    cards, charts, chips and what else lies on a bench
    camera    light and camera: from a scene to an encoded photograph
    scene     places surfaces in perspective, photographs them, knows the truth
    cards     photographs that test a card finder
    demo      the demo photograph; starter: the starter library's folder
    files     JPEG, PNG, TIFF, WebP and HEIC writers
"""
