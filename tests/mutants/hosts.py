"""All wrong hosts: each is wrong in one way that real firmware gets wrong, and has a case made for it."""

from __future__ import annotations

from tests.mutants import hosts_flowing, hosts_lenient, hosts_lost, hosts_pairing, hosts_trying
from tests.mutants.odd_host import WRONG_HOSTS, WrongHost

FILES = (hosts_pairing, hosts_flowing, hosts_lost, hosts_lenient, hosts_trying)

__all__ = ["FILES", "WRONG_HOSTS", "WrongHost"]
