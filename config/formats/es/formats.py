"""Spanish writes the names of months small, "mié 14 may", and Django's "M" makes them great (Ortografía de la lengua
española, RAE 2010; from memory). The keys are the formats that pages ask for: Django first looks a format up by name.
"""

globals().update(
    {asked: asked.replace("M", "b") for asked in ("M", "j M", "D j M", "j M Y", "D j M Y", "D j M H:i", "j M H:i")}
)
