"""The whole job in a few calls: what the command line, the app and a notebook stand on."""
