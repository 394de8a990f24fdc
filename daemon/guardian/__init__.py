"""The guardian: a process of its own that parks the heat source when the daemon dies, hangs or lies.

`python -m daemon.guardian` uses the standard library only. It shares nothing with the daemon but the
computer and one socket: its park script is already bytes, and it has its own way to the controller.
"""
