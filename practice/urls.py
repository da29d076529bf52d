"""Every address of the application: the composition root, the one module that looks upward."""

from django.contrib import admin
from django.urls import path

from kits.import_kinds import BILLS, BOOKINGS
from kits.urls import urlpatterns as kits_urls
from practice import site_urls
from stock.import_kinds import CATALOGUE, PRICES, STOCK
from stock.urls import urlpatterns as stock_urls

# In the order in which a new practice brings them in.
IMPORT_KINDS = (CATALOGUE, BILLS, STOCK, PRICES, BOOKINGS)

urlpatterns = [
    path("admin/", admin.site.urls),
    *site_urls.urls(kinds=IMPORT_KINDS),
    *stock_urls,
    *kits_urls,
]
