"""Words that the commonest passwords are made of, written from memory; whole passwords of a published list are in `security`."""

from __future__ import annotations

_TEXT = """
password passwort passw0rd motdepasse contrasena pass secret welcome letmein login admin administrator root guest user
test changeme default master access qwerty qwertyuiop asdfgh asdfghjkl zxcvbn zxcvbnm azerty qwertz qazwsx
qazwsxedc abc abcd abcdef abcdefg iloveyou loveyou love lovely trustno monkey dragon football baseball basketball
soccer hockey princess sunshine shadow michael jennifer jessica ashley daniel
jordan thomas charlie andrew joshua matthew robert george hunter ranger buster killer pepper ginger cookie cheese
summer winter spring autumn january february march april june july august september october november december
monday tuesday wednesday thursday friday saturday sunday whatever freedom hello helloworld internet computer
flower purple orange banana chocolate butterfly
dublin ireland london correcthorsebatterystaple thisismypassword mypassword newpassword
ihatepasswords ilovemyself iloveyousomuch passwordpassword administratoradmin letmeinplease welcomehome
kitesurf kitesurfing windsurf windsurfing surfing surfer wingfoil wingfoiling sailing ocean beach
"""
COMMON_WORDS = frozenset(_TEXT.split())
"""In small letters, without digits or signs at the ends."""
