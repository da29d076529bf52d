"""Every address of the application: the composition root, the one module that looks upward."""

from django.contrib import admin
from django.urls import path

urlpatterns = [
    path("admin/", admin.site.urls),
]
