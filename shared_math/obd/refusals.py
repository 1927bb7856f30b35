"""What the reason of a refusal says, in words. Apart from replies.py, which a recording board keeps in memory."""

_REFUSALS = {
    0x10: "refused, without a reason",
    0x11: "this service is not known to it",
    0x12: "this part of the service is not known to it",
    0x13: "the request's length is wrong for it",
    0x21: "it is busy",
    0x22: "conditions are not right for it, mostly because the engine turns",
    0x31: "it has no such value",
    0x33: "it asks for security access, which is never sent",
    0x78: "it takes longer",
    0x7E: "not in this session",
    0x7F: "this service is not in this session",
}


def refusal(reason):
    """A negative response's reason in words."""
    return _REFUSALS[reason] if reason in _REFUSALS else "refused for the reason %02X" % reason
