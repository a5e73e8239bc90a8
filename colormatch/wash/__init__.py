"""Model of a thinned paint, brushed on and wiped back: its effect on the color of the wood below."""
