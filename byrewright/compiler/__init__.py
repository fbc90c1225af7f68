"""Kernels: plain Python over numbers and arrays, compiled by LLVM on first call."""
