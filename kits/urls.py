"""Addresses of the kits layer."""

urlpatterns: list = []
