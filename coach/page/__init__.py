"""The page: a small server on this machine that shows screens in a browser and takes presses from it.

The server is a process of its own and knows nothing of sessions. It passes on whole screens (JSON, see `screens.py`)
and passes back presses. Whoever runs a session holds a `Page`; if the server dies, the session does not notice, and a
new server shows the same screen at the same address.
"""
