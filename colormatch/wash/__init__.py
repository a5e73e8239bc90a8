"""What a paint, thinned, brushed on and wiped back, does to the color of the wood below."""
