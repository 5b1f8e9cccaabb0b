"""Heads signed and reviews signed."""

from app.trail.service.heads import sign_head
from app.trail.service.keys import HeadKey, key_place, open_key
from app.trail.service.reviews import Answer, review_trail

__all__ = ["Answer", "HeadKey", "key_place", "open_key", "review_trail", "sign_head"]
