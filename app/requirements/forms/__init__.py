"""What the pages of tables, cycles, procedures and mappings send."""

from app.requirements.forms.papers import (
    CONDUCTIVITY_UNITS,
    HARDNESS_SCALES,
    OBTAINED,
    CycleForm,
    EntryForm,
    KeyForm,
    MappingPaperForm,
    PaperForm,
    VerifyForm,
    WithdrawForm,
    WrittenAgain,
    paper_of,
)

__all__ = [
    "CONDUCTIVITY_UNITS",
    "HARDNESS_SCALES",
    "OBTAINED",
    "CycleForm",
    "EntryForm",
    "KeyForm",
    "MappingPaperForm",
    "PaperForm",
    "VerifyForm",
    "WithdrawForm",
    "WrittenAgain",
    "paper_of",
]
