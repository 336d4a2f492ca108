"""Every address of the program, in one list."""

urlpatterns: list = []
