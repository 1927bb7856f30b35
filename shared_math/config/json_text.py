"""A strict JSON reader that works alike on both runtimes and reports mistakes by line in plain words.

The runtimes' own readers differ: one accepts a missing comma or colon, and both silently use the last of two equal
keys.
"""

_SPACE = b" \t\r\n"
_BARE = b"+-.0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ_"
_DEEPEST = 12
_ESCAPES = {0x22: '"', 0x5C: "\\", 0x2F: "/", 0x62: "\b", 0x66: "\f", 0x6E: "\n", 0x72: "\r", 0x74: "\t"}
LONGEST = 16384  # bytes; more does not fit on a small board with everything else


def squeeze(text):
    """JSON text (bytes) without the white space between its parts; strings stay as they are."""
    out = bytearray()
    quoted = escaped = False
    for byte in text:
        if quoted:
            if escaped:
                escaped = False
            elif byte == 0x5C:
                escaped = True
            elif byte == 0x22:
                quoted = False
        elif byte == 0x22:
            quoted = True
        elif byte in _SPACE:
            continue
        out.append(byte)
    return bytes(out)


def parse(text):
    """The value of JSON `text` (bytes or str). Raises ValueError with a sentence that names the line."""
    if isinstance(text, str):
        text = text.encode()
    text = bytes(text)
    if text[:3] == b"\xef\xbb\xbf":
        text = text[3:]
    if text[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in text:
        raise ValueError("it is not saved as plain UTF-8 text")
    if len(text) > LONGEST:
        raise ValueError("it is longer than %d bytes" % LONGEST)
    reader = _Reader(text)
    if reader.peek() < 0:
        raise ValueError("it is empty")
    value = reader.value(0)
    if reader.peek() >= 0:
        reader.fail("something follows the closing bracket")
    return value


class _Reader:
    def __init__(self, text):
        self.text = text
        self.at = 0

    def fail(self, what, at=None):
        line = 1
        for byte in self.text[: self.at if at is None else at]:
            if byte == 0x0A:
                line += 1
        raise ValueError("line %d: %s" % (line, what))

    def peek(self):
        """The next byte that is not white space, or -1 at the end."""
        text = self.text
        at = self.at
        while at < len(text) and text[at] in _SPACE:
            at += 1
        self.at = at
        return text[at] if at < len(text) else -1

    def value(self, depth):
        byte = self.peek()
        if depth > _DEEPEST:
            self.fail("brackets inside brackets, more than %d deep" % _DEEPEST)
        if byte == 0x7B:
            return self.object(depth)
        if byte == 0x5B:
            return self.list(depth)
        if byte == 0x22:
            return self.string()
        return self.bare()

    def object(self, depth):
        out = {}
        opened = self.at
        self.at += 1
        if self.peek() == 0x7D:
            self.at += 1
            return out
        while True:
            if self.peek() != 0x22:
                ended = self.at >= len(self.text)
                self.fail("it ends too soon" if ended else 'a name in "double quotes" is expected here')
            key = self.string()
            if key in out:
                self.fail('"%s" occurs twice in the same { }' % key)
            if self.peek() != 0x3A:
                self.fail('a colon is missing after "%s"' % key)
            self.at += 1
            out[key] = self.value(depth + 1)
            if self.more(0x7D, opened, "{"):
                return out

    def list(self, depth):
        out = []
        opened = self.at
        self.at += 1
        if self.peek() == 0x5D:
            self.at += 1
            return out
        while True:
            out.append(self.value(depth + 1))
            if self.more(0x5D, opened, "["):
                return out

    def more(self, closing, opened, bracket):
        """Skip a comma (False) or the closing bracket (True)."""
        end = self.at
        byte = self.peek()
        if byte == closing:
            self.at += 1
            return True
        if byte < 0:
            self.fail("the bracket %s opened here is never closed" % bracket, opened)
        if byte != 0x2C:
            self.fail("a comma is missing at the end of this line or part", end)
        comma = self.at
        self.at += 1
        if self.peek() == closing:
            self.fail("a comma too many before the closing bracket", comma)
        return False

    def string(self):
        text = self.text
        self.at += 1
        start = at = self.at
        out = ""
        while True:
            if at >= len(text) or text[at] == 0x0A:
                self.fail("a closing quote is missing", start)
            byte = text[at]
            if byte < 0x20:
                self.fail("a tab or control character inside quotes", start)
            if byte == 0x22 or byte == 0x5C:
                try:
                    out += str(text[start:at], "utf-8")
                except ValueError:
                    self.fail("letters that are not UTF-8", start)
                if byte == 0x22:
                    self.at = at + 1
                    return out
                at += 1
                escape = text[at] if at < len(text) else 0
                if escape in _ESCAPES:
                    out += _ESCAPES[escape]
                elif escape == 0x75:
                    out += self.unicode(at + 1)
                    at += 4
                else:
                    self.fail("a lone \\ inside quotes: write \\\\", start)
                start = at + 1
            at += 1

    def unicode(self, at):
        try:
            digits = str(self.text[at : at + 4], "utf-8")
            if len(digits) != 4 or "_" in digits or " " in digits or digits[0] in "+-":
                raise ValueError
            number = int(digits, 16)
        except ValueError:
            self.fail("\\u inside quotes needs four hexadecimal digits", at)
        if 0xD800 <= number < 0xE000:
            self.fail("letters beyond \\uFFFF must be written as themselves", at)
        return chr(number)

    def bare(self):
        text = self.text
        start = at = self.at
        while at < len(text) and text[at] in _BARE:
            at += 1
        word = str(text[start:at], "utf-8")
        self.at = at
        if word == "true":
            return True
        if word == "false":
            return False
        if word == "null":
            return None
        number = _number(word)
        if number is None:
            self.at = start
            if not word:
                self.fail("it ends too soon" if start >= len(text) else "a value is missing or not understood")
            self.fail('%.40s is neither a number nor a text in "double quotes"' % word)
        return number


def _number(word):
    """The number written as `word` by JSON's rules (no leading zeros or plus, digits around the point), or None."""
    if len(word) > 40:
        return None
    digits = word[1:] if word[:1] == "-" else word
    mantissa = digits
    for at in range(len(digits)):
        if digits[at] in "eE":
            mantissa = digits[:at]
            power = digits[at + 1 :]
            if power[:1] in ("+", "-"):
                power = power[1:]
            if not power.isdigit():
                return None
            break
    whole = mantissa
    if "." in mantissa:
        whole, part = mantissa.split(".", 1)
        if not part.isdigit():
            return None
    if not whole.isdigit() or (len(whole) > 1 and whole[0] == "0"):
        return None
    return int(word) if whole == digits else float(word)
