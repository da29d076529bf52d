"""Addresses of the stock layer."""

urlpatterns: list = []
