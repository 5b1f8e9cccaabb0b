"""The decisions on verified papers: to write, to verify, to withdraw a revision."""

from app.requirements.service.kinds import KINDS, Kind
from app.requirements.service.verifying import signed_content, verify, withdraw
from app.requirements.service.writing import (
    Named,
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
    "signed_content",
    "verify",
    "withdraw",
    "write_correction_table",
    "write_cycle",
    "write_mapping",
    "write_procedure",
    "write_table",
]
