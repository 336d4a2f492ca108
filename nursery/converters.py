"""A code in an address: any case, O for 0 and I or L for 1, with or without the hyphen."""

from nursery.calc.codes import read_code


class CodeConverter:
    """Match a valid code only, so that ``/seasons`` or a mistyped code is not taken for one."""

    regex = "[FSPfsp][0-9A-Za-z]{2}-?[0-9A-Za-z]{4}"

    def to_python(self, value: str) -> str:
        return read_code(value)

    def to_url(self, value: str) -> str:
        return value
