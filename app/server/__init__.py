"""The server and its access control: gate, phone link, addresses of pictures and files."""
