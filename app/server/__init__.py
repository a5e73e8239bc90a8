"""How the app is served, and who may talk to it: the server, its gate, the phone link, pictures' addresses."""
