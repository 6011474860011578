"""Publishes what is wired to a microcontroller, over MQTT 3.1.1. One file for MicroPython 1.19 or newer, nothing else.

Fill in the next lines and look at sense(), copy this file to the board as main.py, and restart it. README.md beside it
says how, and what the monitor's configuration needs. Each sensor publishes on TOPIC/<name>:

    {"value": 24.56, "time": "2026-03-02T05:10:00Z", "n": 1234}

and, when it gives nothing that can be believed, on TOPIC/<name>/fault what is wrong. TOPIC/online is "online", and
"offline" by the board's will. Readings of a time when the broker is away are kept and sent later with their own times.
There is no TLS: it is for your own network, and for a user of its own that may write to TOPIC/# only.
"""

import json
import os
import socket
import struct
import time

try:
    import random
except ImportError:  # the smallest boards have none
    random = None

WIFI, WIFI_PASSWORD = "", ""
HOST, PORT = "192.168.1.10", 1883
USER, PASSWORD = "", ""
TOPIC = "shed/board-2"  # another one for each board
EVERY_MS = 10_000
KEEP = 300  # readings kept while the broker is away; 270 bytes each on 64 bits, about half of it on a board
KEEPALIVE_S = 30  # half as long again without a word, and the broker says "offline"
TIME_SERVER = "pool.ntp.org"  # or your own; "" when there is none

THERMOMETER_PIN = 4
THERMOMETERS = {}  # name -> number, as {"ash-water": "28ff641d8216035c"}; find() tells the numbers
PUMP_PIN = None  # a contact to ground that is closed while the pump runs
PUMP = "ash-air"

COUNT_FILE = "count.txt"
COUNT_BLOCK = 1000  # numbers set aside at a time, to spare the flash; a restart leaves out the rest
NEVER_SET_YEAR = 2024  # a clock that shows an earlier year was never set
TIMEOUT_S = 5
LONGEST_WAIT_MS = 60_000


# -- what is wired to the board: change it to what you have --------------------------------------------------------


def sense():
    """A list of (name, value, fault): a number or "running" or "stopped" with "", or None and what is wrong."""
    found = []
    if THERMOMETERS:
        found += thermometers()
    if PUMP_PIN is not None:
        found.append((PUMP, pump(), ""))
    return found


def bus():
    """The driver, and the chips on the bus by their numbers."""
    import ds18x20
    import machine
    import onewire

    driver = ds18x20.DS18X20(onewire.OneWire(machine.Pin(THERMOMETER_PIN)))
    return driver, {"".join("%02x" % byte for byte in rom): rom for rom in driver.scan()}


def find():
    """What to write into THERMOMETERS: in the board's shell, import main and call main.find()."""
    print(sorted(bus()[1]) or "no thermometer on the bus")


def thermometers():
    """DS18B20 and the like. 85.0 is what they say before they have measured."""
    driver, there = bus()
    if there:
        driver.convert_temp()
        time.sleep_ms(750)
    found = []
    for name, number in THERMOMETERS.items():
        if number not in there:
            also = ", ".join(sorted(there)) or "none"
            found.append((name, None, "%s is not on the bus; there: %s" % (number, also)))
            continue
        try:
            value = driver.read_temp(there[number])
        except Exception as error:  # the driver raises its own plain ones
            found.append((name, None, "the checksum does not fit (%s): a loose wire" % error))
            continue
        if value is None or abs(value - 85) < 0.01:
            found.append((name, None, "85.0 C is what the chip says before it has measured: its supply comes and goes"))
        elif not -55 <= value <= 125:
            found.append((name, None, "%s C is more or less than the chip can measure" % value))
        else:
            found.append((name, round(value, 3), ""))
    return found


def pump():
    """A contact to ground."""
    import machine

    return "stopped" if machine.Pin(PUMP_PIN, machine.Pin.IN, machine.Pin.PULL_UP).value() else "running"


def join():
    """Wi-Fi, where the board has it. Returns when it is there or when it is not worth waiting for any longer."""
    try:
        import network
    except ImportError:
        return
    if not WIFI:
        return
    wlan = network.WLAN(network.STA_IF)
    wlan.active(True)
    if not wlan.isconnected():
        wlan.connect(WIFI, WIFI_PASSWORD)
        until = time.ticks_add(time.ticks_ms(), 10_000)
        while not wlan.isconnected() and time.ticks_diff(until, time.ticks_ms()) > 0:
            time.sleep_ms(100)


def set_clock():
    """From a time server. A board that never learns the time goes on without."""
    if not TIME_SERVER:
        return
    try:
        import ntptime

        ntptime.host = TIME_SERVER
        ntptime.settime()
    except (ImportError, OSError):
        pass


# -- time ----------------------------------------------------------------------------------------------------------


def now():
    """Seconds in the board's own epoch, which is 1970 or 2000; None as long as the clock was never set."""
    return time.time() if time.gmtime()[0] >= NEVER_SET_YEAR else None


def rfc3339(seconds):
    return "%04d-%02d-%02dT%02d:%02d:%02dZ" % tuple(time.gmtime(int(seconds))[:6])


class Uptime:
    """Milliseconds since the start. The board's ticks begin anew every few days, so look more often than that."""

    def __init__(self):
        self.ms = 0
        self._last = time.ticks_ms()

    def look(self):
        ticks = time.ticks_ms()
        self.ms += time.ticks_diff(ticks, self._last)
        self._last = ticks
        return self.ms


# -- the count of readings, over restarts --------------------------------------------------------------------------


class Count:
    """One for each sensor, so that a gap in it tells of a loss."""

    def __init__(self):
        try:
            with open(COUNT_FILE) as file:
                self._first = int(file.read())
        except (OSError, ValueError):
            self._first = 0
        self._limit = self._first
        self._next = {}

    def take(self, name):
        n = self._next.get(name, self._first)
        if n >= self._limit:
            self._limit += COUNT_BLOCK
            try:
                with open(COUNT_FILE + ".new", "w") as file:
                    file.write(str(self._limit))
                os.rename(COUNT_FILE + ".new", COUNT_FILE)
            except OSError as error:
                print("the count cannot be kept:", error)
        self._next[name] = n + 1
        return n


# -- what waits for the broker -------------------------------------------------------------------------------------


class Ring:
    """Oldest first. When it is full the oldest goes, and is counted."""

    def __init__(self):
        self._held = []
        self.lost = 0

    def __len__(self):
        return len(self._held)

    def add(self, n, name, value, uptime):
        self._held.append([n, name, value, uptime, now(), None])
        if len(self._held) > KEEP:
            self._held.pop(0)
            self.lost += 1

    def next(self, uptime):
        """The reading to send. While the time is unknown only a fresh one: an old one would be taken for new."""
        clock = now()
        for one in self._held:
            if one[4] is None and clock is not None:
                one[4] = clock - (uptime - one[3]) // 1000
            if one[5] or one[4] is not None or uptime - one[3] <= EVERY_MS:
                return one
        return None

    def message(self, one):
        """Made once: a repeat must be the same, so that it is known as one."""
        if one[5] is None:
            clock = None if one[4] is None else rfc3339(one[4])
            one[5] = json.dumps({"value": one[2], "time": clock, "n": one[0]})
        return one[5]

    def taken(self, one):
        self._held.remove(one)


# -- MQTT 3.1.1, as much of it as a publisher needs ----------------------------------------------------------------


def text(word):
    """Section 1.5.3: two bytes of length, then UTF-8."""
    data = word if isinstance(word, bytes) else word.encode()
    return struct.pack("!H", len(data)) + data


def packet(kind, body):
    """Section 2.2: kind and flags, the length in sevens of bits, the rest."""
    head = bytearray([kind])
    left = len(body)
    while True:
        left, seven = left >> 7, left & 0x7F
        head.append(seven | 0x80 if left else seven)
        if not left:
            return bytes(head) + body


class Broker:
    """One connection. Everything raises OSError when it is gone; then make another."""

    def __init__(self):
        self._mid = 0
        self.spoke = time.ticks_ms()
        address = socket.getaddrinfo(HOST, PORT, 0, socket.SOCK_STREAM)[0]
        self._socket = socket.socket(address[0], address[1], address[2])
        try:
            self._socket.settimeout(TIMEOUT_S)
            self._socket.connect(address[-1])
            self._hello()
        except OSError:
            self.close()
            raise

    def close(self):
        self._socket.close()

    def _hello(self):
        flags = 0x02 | 0x04 | 0x08 | 0x20  # nothing kept from before; a will, at least once, retained
        body = text(TOPIC.replace("/", "-")) + text(TOPIC + "/online") + text("offline")
        if USER:
            flags |= 0x80 | 0x40
            body += text(USER) + text(PASSWORD)
        self._send(packet(0x10, text("MQTT") + bytes([4, flags]) + struct.pack("!H", KEEPALIVE_S) + body))
        kind, answer = self._receive()
        if kind != 0x20 or len(answer) != 2 or answer[1]:
            raise OSError("the broker does not let us in: %s" % (answer[1] if len(answer) == 2 else kind))

    def publish(self, topic, message, retain=False):
        """At least once: returns when the broker has it."""
        self._mid = self._mid % 65_535 + 1
        mid = struct.pack("!H", self._mid)
        self._send(packet(0x32 | int(retain), text(topic) + mid + message.encode()))
        while True:
            kind, answer = self._receive()
            if kind == 0x40 and answer == mid:
                return

    def stay(self):
        """A word when it is time for one, and a look whether the other side is still there."""
        if time.ticks_diff(time.ticks_ms(), self.spoke) > KEEPALIVE_S * 500:
            self._send(packet(0xC0, b""))
            while self._receive()[0] != 0xD0:
                pass

    def _send(self, data):
        self.spoke = time.ticks_ms()
        while data:
            sent = self._socket.send(data)
            data = data[sent:]

    def _receive(self):
        kind = self._read(1)[0]
        length = shift = 0
        while True:
            byte = self._read(1)[0]
            length |= (byte & 0x7F) << shift
            if not byte & 0x80:
                break
            shift += 7
        return kind, self._read(length)

    def _read(self, count):
        data = b""
        while len(data) < count:
            more = self._socket.recv(count - len(data))
            if not more:
                raise OSError("the broker has hung up")
            data += more
        return data


# -- all of it together --------------------------------------------------------------------------------------------


class Publisher:
    def __init__(self):
        self.uptime = Uptime()
        self.ring = Ring()
        self._count = Count()
        self._broker = None
        self._faults = {}  # name -> what is wrong, "" when nothing is
        self._said = {}  # the same, as the broker knows it
        self._due = 0
        self._failures = 0
        self._retry = 0

    def turn(self):
        """Measure when it is time, send what waits, and wait a little. Never raises for what the network does."""
        if self.uptime.look() >= self._due:
            self._due = self.uptime.ms + EVERY_MS
            self._measure()
        if self._broker is None and self.uptime.look() >= self._retry:
            self._connect()
        if self._broker is not None:
            self._speak()
        time.sleep_ms(max(10, min(self._due - self.uptime.look(), 500)))

    def _measure(self):
        try:
            found = sense()
        except Exception as error:  # whatever a driver raises, a board that gives up helps nobody
            print("not measured:", error)
            return
        for name, value, fault in found:
            self._faults[name] = fault
            if not fault:
                self.ring.add(self._count.take(name), name, value, self.uptime.look())

    def _connect(self):
        try:
            join()
            if now() is None:
                set_clock()
            self._broker = Broker()
            self._said = {}
            self._broker.publish(TOPIC + "/online", "online", True)
            self._failures = 0
        except OSError as error:
            self._down(error)

    def _speak(self):
        try:
            for name, fault in self._faults.items():
                if self._said.get(name) != fault:
                    told = json.dumps({"fault": fault}) if fault else ""
                    self._broker.publish(TOPIC + "/" + name + "/fault", told, True)
                    self._said[name] = fault
            while True:
                one = self.ring.next(self.uptime.look())
                if one is None:
                    break
                self._broker.publish(TOPIC + "/" + one[1], self.ring.message(one))
                self.ring.taken(one)
                if self.uptime.look() >= self._due:
                    break  # measuring goes before catching up
            self._broker.stay()
        except OSError as error:
            self._down(error)

    def _down(self, error):
        if not self._failures:
            print("no broker:", error)
        if self._broker is not None:
            self._broker.close()
            self._broker = None
        self._failures += 1
        longest = min(1000 << min(self._failures, 6), LONGEST_WAIT_MS)
        # Many boards must not come back to a broker in step.
        part = random.getrandbits(8) if random else 128
        self._retry = self.uptime.look() + longest * part // 256


def run():
    """For ever."""
    publisher = Publisher()
    while True:
        publisher.turn()


if __name__ == "__main__":
    run()
