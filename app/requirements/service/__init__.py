"""The decisions on verified papers: to write, key again, verify, withdraw a revision."""

from app.requirements.service.keying import asked_of, key_again, keyed_content, keying_meaning
from app.requirements.service.kinds import KINDS, Kind, Named
from app.requirements.service.verifying import signed_content, verify, withdraw
from app.requirements.service.writing import (
    write_correction_table,
    write_cycle,
    write_mapping,
    write_procedure,
    write_table,
)

__all__ = [
    "KINDS",
    "Kind",
    "Named",
    "asked_of",
    "key_again",
    "keyed_content",
    "keying_meaning",
    "signed_content",
    "verify",
    "withdraw",
    "write_correction_table",
    "write_cycle",
    "write_mapping",
    "write_procedure",
    "write_table",
]
