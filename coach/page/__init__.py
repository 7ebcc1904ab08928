"""The page: a small server on this machine that shows screens in a browser and receives presses from it.

The server is a separate process and knows nothing about sessions. It forwards whole screens (JSON, see `screens.py`) to
the windows and presses to the coach. The session holds a `Page`; if the server dies, the session goes on, and a new
server shows the same screen at the same address.
"""
