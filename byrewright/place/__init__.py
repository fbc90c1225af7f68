"""Where things stand: layout, routes and checks of a milking centre, as plain geometry.

This room knows no plant file. `byrewright.plant.sited` turns a plant into a `Scene` and takes a
`Plan` and its routes back.
"""
