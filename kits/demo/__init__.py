"""The demo practice: an invented implant practice with a year behind it and five weeks booked.

Inside: cast, mixes ← days ← drafting ← diary; people and supplies; shelves, outcomes ← history
← writing; bookings ← stories ← build. Everything hangs on the day it is built for and on a seed;
nothing reads the clock.
"""
