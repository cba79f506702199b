"""Will the station live through the winter: sunlight, wind, battery, box, guys, anchors, burial."""
