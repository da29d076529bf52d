"""Addresses that are wrong on purpose, for the test that the sweep over all addresses bites."""

from django.http import HttpResponse
from django.urls import path


def open_to_all(request):
    return HttpResponse("<html><h1>One</h1><h1>Two</h1></html>")


def broken(request):
    raise RuntimeError("broken on purpose")


def ignores_roles(request):
    return HttpResponse("<html><h1>Set-up</h1></html>")


ignores_roles.need = "set_up"

urlpatterns = [
    path("open/", open_to_all, name="open"),
    path("broken/", broken, name="broken"),
    path("set_up/", ignores_roles, name="set_up"),
    path("sign-in/", open_to_all, name="sign_in"),
]
