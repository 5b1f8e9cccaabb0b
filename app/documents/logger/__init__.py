"""Loggers' exports, CSV and XLSX, read exactly or refused."""
