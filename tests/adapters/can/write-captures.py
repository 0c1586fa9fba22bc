"""A second writer of captures, by struct alone: candump -L text in, pcap or pcapng out. Used by capture-tools.test.ts.

python3 write-captures.py LOG OUT FORM ORDER LINK ID_ORDER
FORM: micro, nano (pcap), or pcapng with stamps of 10^-N s (N = 6 or 9) or 2^-N s: p6, p9, b20
ORDER, ID_ORDER: > or <
"""

import re
import struct
import sys

log, out, form, order, link, id_order = sys.argv[1:]
link = int(link)
LINE = re.compile(r"\((\d+)\.(\d{6})\) (\S+) ([0-9A-Fa-f]+)#(#?)([0-9A-Fa-fR]*)")
EXTENDED, REMOTE = 0x80000000, 0x40000000


def frames():
    for line in open(log, encoding="latin1"):
        found = LINE.match(line)
        if not found:
            continue
        sec, us, name, word, fd, data = found.groups()
        remote = data.startswith("R")
        ident = int(word, 16)
        if len(word) == 8 and ident < 0x20000000:
            ident |= EXTENDED
        if remote:
            ident |= REMOTE
        payload = b"" if remote else bytes.fromhex(data)
        header = struct.pack(id_order + "I", ident) + bytes([len(payload), 0, 0, 0])
        yield int(sec), int(us), name, header + payload.ljust(8, b"\0")


def packet(frame, index):
    if link == 113:
        return struct.pack(">HHHQH", 1, 280, 0, 0, 0x000C) + frame
    if link == 276:
        return struct.pack(">HHIHBBQ", 0x000C, 0, index + 1, 280, 1, 0, 0) + frame
    return frame


def block(kind, body):
    body += b"\0" * (-len(body) % 4)
    length = struct.pack(order + "I", len(body) + 12)
    return struct.pack(order + "I", kind) + length + body + length


def option(code, value):
    return struct.pack(order + "HH", code, len(value)) + value + b"\0" * (-len(value) % 4)


with open(out, "wb") as file:
    names = {}
    described = set()
    if form in ("micro", "nano"):
        magic = 0xA1B2C3D4 if form == "micro" else 0xA1B23C4D
        file.write(struct.pack(order + "IHHiIII", magic, 2, 4, 0, 0, 262144, link))
    else:
        power = int(form[1:])
        units = 10**power if form[0] == "p" else 2**power
        resolution = power if form[0] == "p" else power | 0x80
        file.write(block(0x0A0D0D0A, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, 0, -1)))
    for sec, us, name, frame in frames():
        index = names.setdefault(name, len(names))
        data = packet(frame, index)
        if form in ("micro", "nano"):
            part = us if form == "micro" else us * 1000
            file.write(struct.pack(order + "IIII", sec, part, len(data), len(data)) + data)
            continue
        if name not in described:
            described.add(name)
            options = option(2, name.encode()) + option(9, bytes([resolution])) + option(0, b"")
            file.write(block(1, struct.pack(order + "HHI", link, 0, 0) + options))
        stamp = sec * units + -(-us * units // 10**6)
        head = struct.pack(order + "IIIII", index, stamp >> 32, stamp & 0xFFFFFFFF, len(data), len(data))
        file.write(block(6, head + data))
