"""Hands with the administrator's rights: a small helper that knows four words, and the tool's end of its pipe.

What the helper itself loads (`helper`, `messages`, `trust`, `kept`, and the doors) rests on Python's own library alone.
"""
