"""Sends given frames and prints what arrives: the only part of the packet filter check that needs raw sockets,
which Node does not have.

packets.py GATEWAY LEG=INTERFACE...    (names of network namespaces, and of the interface in each leg)

Standard input, a line each:
  LEG HEX            an Ethernet frame to send from the leg (its number, from 0)
  out4 MARK HEX      an IPv4 packet to send from the gateway itself, with this routing mark
  out6 MARK HEX      the same for IPv6
Standard output, a line each:
  LEG HEX            an IP packet that arrived at the leg
  in HEX             an IPv4 packet handed to the gateway itself, header included
  in6 PROTOCOL HEX   an IPv6 packet handed to the gateway itself, without its header
"""
import os
import select
import socket
import sys

try:
    import ctypes
except ImportError:
    sys.exit("packets.py needs the Debian package python3; python3-minimal lacks ctypes")

libc = ctypes.CDLL(None, use_errno=True)
IN4 = (1, 6, 17, 253)
IN6 = (6, 17, 58, 253)
ETH_P_ALL = 3
SO_MARK = 36
SO_RCVBUFFORCE = 33
PACKET_OUTGOING = 4


def enter(name):
    handle = os.open(f"/var/run/netns/{name}", os.O_RDONLY)
    if libc.setns(handle, 0) != 0:
        raise OSError(ctypes.get_errno(), f"cannot enter the network namespace {name}")
    os.close(handle)


def roomy(sock):
    sock.setsockopt(socket.SOL_SOCKET, SO_RCVBUFFORCE, 64 * 1024 * 1024)
    sock.setblocking(False)
    return sock


def main():
    gateway, legs = sys.argv[1], [leg.split("=") for leg in sys.argv[2:]]
    enter(gateway)
    heard = {}
    for protocol in IN4:
        heard[roomy(socket.socket(socket.AF_INET, socket.SOCK_RAW, protocol))] = "in"
    for protocol in IN6:
        heard[roomy(socket.socket(socket.AF_INET6, socket.SOCK_RAW, protocol))] = f"in6 {protocol}"
    senders = {}

    def sender(family, mark):
        if (family, mark) not in senders:
            kind = socket.AF_INET if family == "out4" else socket.AF_INET6
            made = socket.socket(kind, socket.SOCK_RAW, socket.IPPROTO_RAW)
            made.setsockopt(socket.SOL_SOCKET, SO_MARK, int(mark))
            if family == "out6":
                made.setsockopt(socket.IPPROTO_IPV6, 36, 1)  # IPV6_HDRINCL
            senders[(family, mark)] = made
        return senders[(family, mark)]

    # Sockets belong to the namespace in which they are made: those for the gateway now, those of the legs after.
    lines = [line.split() for line in sys.stdin if line.strip()]
    for line in lines:
        if line[0].startswith("out"):
            sender(line[0], line[1])
    wires = []
    for number, (name, interface) in enumerate(legs):
        enter(name)
        wire = roomy(socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ETH_P_ALL)))
        wire.bind((interface, 0))
        wires.append(wire)
        heard[wire] = str(number)

    out = []

    def listen(wait):
        ready, _, _ = select.select(list(heard), [], [], wait)
        for sock in ready:
            while True:
                try:
                    data, address = sock.recvfrom(4096)
                except BlockingIOError:
                    break
                name = heard[sock]
                if sock.family == socket.AF_PACKET:
                    if address[2] == PACKET_OUTGOING or address[1] not in (0x0800, 0x86DD):
                        continue
                    data = data[14:]
                out.append(f"{name} {data.hex()}")
        return len(ready) > 0

    for number, line in enumerate(lines):
        data = bytes.fromhex(line[-1])
        try:
            if line[0] == "out4":
                sender(line[0], line[1]).sendto(data, (socket.inet_ntop(socket.AF_INET, data[16:20]), 0))
            elif line[0] == "out6":
                sender(line[0], line[1]).sendto(data, (socket.inet_ntop(socket.AF_INET6, data[24:40]), 0, 0, 0))
            else:
                wires[int(line[0])].send(data)
        except OSError as error:
            # A packet that the gateway's own filter drops on its way out is reported as "not permitted".
            if error.errno not in (1, 111, 113, 101):
                raise
        if number % 32 == 31:
            listen(0)
    while listen(0.4):
        pass
    sys.stdout.write("\n".join(out) + "\n")


main()
