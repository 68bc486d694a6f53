"""The office screen: pages for people under ``/office``, beside the interface for programs.

They are no operations of ``openapi.yaml``: that describes what a program may rely on,
and a page promises nothing about its HTML. Who may see what is decided where the
interface decides it.
"""
