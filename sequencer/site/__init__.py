"""What is really on the pad: gas, release head, servo, sensors, power, stored energy. Pure physics in SI units.

Imports only quantities, errors and description; never the controller. Pressures in here are absolute pascals.
"""
