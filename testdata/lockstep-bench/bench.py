#!/usr/bin/env python3
"""A simulated bench with a supply unit, in lock-step with holdfast: an example to copy for a simulation of your own.

    python3 bench.py /tmp/bench &
    holdfast run release --rig bench-node --bus lockstep:/tmp/bench --serial DEMO --yes

Protocol: j1939/can/lockstep/doc.go; messages: scenarios/rigs/bench-node.dbc. The plant is the least that a release
test can be run on: one volume of liquid, no pulsation, no temperature, figures of an invented unit.
"""
import os, random, signal, socket, struct, sys
from math import sqrt

HEAD = struct.Struct("<c3xIqq")     # kind, number of items, a, b
FRAME = struct.Struct("<IB3x8sq")   # identifier and flags, length, data, time in ns
EXTENDED = 0x80000000               # 29-bit identifier
OUTPUTS = EXTENDED | 0x0CFF10F9     # from the harness, every 20 ms
HYDRAULICS, ELECTRICS = EXTENDED | 0x0CFF11C8, EXTENDED | 0x0CFF12C8
SCALE, AMBIENT = EXTENDED | 0x0CFF13C8, EXTENDED | 0x18FF14C8
TICK = 10_000_000                   # ns


class Bench:
    def __init__(self, start, seed, leak):
        self.now, self.ticks = start, 0
        self.noise = random.Random(seed).gauss
        self.drive = self.duty = 0.0
        self.valve = self.shutoff = self.heater = self.power = self.vent = self.tare = 0
        self.alive, self.good, self.heard = None, 0, start
        # Plant: liquid in the line (mL), pressure (bar gauge), flow back (mL/s), speed (r/min), masses (g).
        self.line, self.pressure, self.back, self.speed = 0.0, 0.0, 0.0, 0.0
        self.tank, self.beaker, self.zero, self.tared = 4000.0, 0.0, 0.0, 0
        self.leak = 0.0005 + leak * 10 / 60 / 9            # mL/s per bar

    def hear(self, identifier, data):
        """Takes a command; the node follows from the fifth good one in a row on."""
        if identifier != OUTPUTS or data[7] & 15 == self.alive:
            return
        self.alive, self.good, self.heard = data[7] & 15, self.good + 1, self.now
        if self.good < 5:
            return
        drive, duty, first, second = struct.unpack_from("<HHBB", data)
        self.drive = min(drive / 10000, 1.0) if drive <= 0xFAFF else (self.drive if drive >= 0xFF00 else 0.0)
        self.duty = min(duty / 10000, 1.0) if duty <= 0xFAFF else (self.duty if duty >= 0xFF00 else 0.0)
        for i, name in enumerate(("valve", "shutoff", "heater", "power", "vent", "tare")):
            if (bits := (first | second << 8) >> 2 * i & 3) < 2:        # 2 is an error, 3 no change
                setattr(self, name, bits)

    def tick(self):
        """Moves everything by 10 ms."""
        self.now, self.ticks = self.now + TICK, self.ticks + 1
        if self.now - self.heard >= 20 * TICK:               # the harness is silent: safe state
            self.good, self.drive, self.duty = 0, 0.0, 0.0
            self.valve = self.shutoff = self.heater = self.vent = 0
        volume, stiffness, dt = 38.0, 0.30, 0.01            # mL, mL/bar, s
        self.speed += (max(3700 * self.drive - 20 * self.pressure, 0) * self.power - self.speed) * 0.2
        pumped = self.speed / 60 * 0.12 * 0.93 * dt
        full, root = self.line >= volume, sqrt(max(self.pressure, 0))
        returned = 0.0 if self.shutoff or not full else 0.895 * sqrt(max(self.pressure - 0.3, 0)) * dt
        dosed = max(self.duty - 0.006, 0) * 106 / 3 / 1.09 / 60 * root * dt if full else 0.0
        leaked, vented = self.leak * self.pressure * dt, (20 * root * dt if self.vent else 0.0)
        if self.valve:                                      # the pump empties the line
            pumped = -min(pumped, self.line)
        self.line += pumped - returned - leaked
        self.line -= min(dosed + vented, max(self.line - volume, 0))
        self.tank -= (pumped - returned - leaked - vented) * 1.09
        self.beaker += dosed * 1.09
        self.back += (returned / dt - self.back) * 0.03     # the flow meter is slow
        if self.line >= volume:
            self.pressure = (self.line - volume) / stiffness
        else:                                               # air leaves through the return's check valve
            self.pressure = 0.34 if pumped > 0.002 else 0.0

    def frames(self):
        """The messages of this tick."""
        noise = self.noise
        gauge, coil = 101.3 + 100 * self.pressure, 24 / 18 * self.valve * self.power
        heat = 24 / 4.15 * self.heater * self.power
        motor = (0.4 + 0.1 * self.pressure) * self.drive * self.power
        pack = lambda identifier, data: FRAME.pack(identifier, 8, data, self.now)
        field = lambda value, sigma, step: max(int((value + noise(0, sigma)) / step + 0.5), 0)
        own = field(gauge, 0.2, 0.05) if self.power else 0xFFFF    # not available
        yield pack(HYDRAULICS, struct.pack("<HHHH", own, field(gauge, 0.2, 0.05), field(60 * self.back, 0.3, 0.01),
                                           field(self.speed, 1, 0.125)))
        if self.ticks % 2 == 0:
            unit = (24 - 0.1 * (motor + coil + heat)) * self.power
            yield pack(ELECTRICS, struct.pack("<HHHH", field(24, 0.003, 0.001), field(unit, 0.003, 0.001),
                                              field(motor, 0.002, 0.001), field(coil, 0.001, 0.001)))
        if self.ticks % 10 == 0:
            if self.tare > self.tared:
                self.zero = self.beaker
            self.tared, raw = self.tare, field(self.beaker - self.zero + 1000, 0.008, 0.01)
            states = 1 << 2 | self.shutoff << 4 | (self.good >= 5) << 6
            yield pack(SCALE, struct.pack("<HBHHB", raw & 0xFFFF, raw >> 16, field(5 * self.power, 0.001, 0.001),
                                          field(heat, 0.005, 0.001), states))
        if self.ticks % 100 == 1:
            yield pack(AMBIENT, struct.pack("<HHHH", field(295, 0.02, 1 / 32), field(295, 0.02, 1 / 32),
                                            field(101.3, 0.005, 0.01), field(self.tank, 0.05, 0.1)))


def run(conn):
    """One connection is one run: hello, grants, end."""
    stream = conn.makefile("rb", 1 << 16)
    refuse = lambda why: conn.sendall(HEAD.pack(b"X", len(why), 0, 0) + why.encode())
    kind, n, start, version = HEAD.unpack(stream.read(HEAD.size))
    if kind != b"H" or version != 1:
        return refuse("hello with version 1 must come first")
    seed, leak = 1, 0.0
    for line in stream.read(n).decode().splitlines():
        key, _, value = line.partition("=")
        name, _, severity = value.partition("=")
        if key == "seed":
            seed = int(value)
        elif key == "fault" and name == "outlet-valve-leak":
            leak = float(severity)
        elif line != "unit=bare":
            return refuse(line + " is not known here")
    setup = "name=bench.py\nunit=bare\nseed=%d\n" % seed + ("fault=outlet-valve-leak=%g\n" % leak if leak else "")
    conn.sendall(HEAD.pack(b"W", len(setup), start, 1) + setup.encode())
    bench = Bench(start, seed, leak)
    while head := stream.read(HEAD.size):
        kind, n, until, least = HEAD.unpack(head)
        if kind == b"E":
            if least == 1:
                conn.sendall(HEAD.pack(b"T", 0, bench.now, 0))
            return
        for identifier, _, data, _ in FRAME.iter_unpack(stream.read(n * FRAME.size)):
            bench.hear(identifier, data)
        sent, reached = [], until
        while bench.now + TICK <= until:
            bench.tick()
            sent += bench.frames()
            if bench.now >= least:
                reached = bench.now
                break
        conn.sendall(HEAD.pack(b"R", len(sent), reached, 0) + b"".join(sent))


def main(path):
    signal.signal(signal.SIGINT, lambda *_: sys.exit(0))
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    os.umask(0o077)                                         # for this user alone
    listener.bind(path)
    listener.listen()
    try:
        while True:
            with listener.accept()[0] as conn:
                run(conn)
    finally:
        os.unlink(path)


main(sys.argv[1])
