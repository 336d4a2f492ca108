"""Codes as they are read aloud."""

from django import template

from nursery.calc.codes import spoken

register = template.Library()
register.filter("spoken", spoken)
