#!/usr/bin/env python3
"""Checks an issued report with nothing of the program that made it: python3 check_report.py report.html [PUBLIC-KEY].
Bytes against the seal, signature (Ed25519, RFC 8032, 5.1.7), and the proof that the run lies in the archive's history (RFC 6962, 2.1.1)."""
import base64, hashlib, json, re, sys
from urllib.parse import unquote
P = 2**255 - 19
L = 2**252 + 27742317777372353535851937790883648493
D = -121665 * pow(121666, P - 2, P) % P
ROOT = pow(2, (P - 1) // 4, P)


def recover_x(y, sign):
    xx = (y * y - 1) * pow(D * y * y + 1, P - 2, P) % P
    x = pow(xx, (P + 3) // 8, P)
    if (x * x - xx) % P:
        x = x * ROOT % P
    if (x * x - xx) % P:
        raise ValueError('no point of the curve')
    return P - x if x & 1 != sign else x


def add(a, b):
    (x1, y1, z1, t1), (x2, y2, z2, t2) = a, b
    A, B = (y1 - x1) * (y2 - x2) % P, (y1 + x1) * (y2 + x2) % P
    C, E = 2 * t1 * t2 * D % P, 2 * z1 * z2 % P
    e, f, g, h = B - A, E - C, E + C, B + A
    return (e * f % P, g * h % P, f * g % P, e * h % P)


def times(n, point):
    total = (0, 1, 1, 0)
    while n:
        if n & 1:
            total = add(total, point)
        point, n = add(point, point), n >> 1
    return total


def decoded(data):
    n = int.from_bytes(data, 'little')
    y, sign = n & (2**255 - 1), n >> 255
    x = recover_x(y, sign)
    return (x, y, 1, x * y % P)


BASE = decoded((4 * pow(5, P - 2, P) % P).to_bytes(32, 'little'))


def signed(message, signature, key):
    r, s = signature[:32], int.from_bytes(signature[32:], 'little')
    if s >= L:
        return False
    h = int.from_bytes(hashlib.sha512(r + key + message).digest(), 'little') % L
    a, b = times(s, BASE), add(decoded(r), times(h, decoded(key)))
    return (a[0] * b[2] - b[0] * a[2]) % P == 0 and (a[1] * b[2] - b[1] * a[2]) % P == 0


def sha(data):
    return hashlib.sha256(data).digest()


def root_by(path, index, size, node):
    """RFC 9162, 2.1.3.2: the root that a leaf and its path lead to."""
    last = size - 1
    for step in path:
        if index & 1 or index == last:
            node = sha(b'\1' + step + node)
            while not index & 1 and index:
                index, last = index >> 1, last >> 1
        else:
            node = sha(b'\1' + node + step)
        index, last = index >> 1, last >> 1
    return node if last == 0 else b''


def check(name, expected=None):
    data = open(name, 'rb').read()
    at = data.rfind(b'<pre id="seal">\n')
    tail = re.fullmatch(rb'<pre id="seal">\n((railhouse-report-seal 1\n(?:[a-z]+ [\w:-]+\n){5})signature ([\w-]{86})\n)</pre>\n</body>\n</html>\n', data[max(at, 0):], re.A)
    assert tail, 'no seal, or something after it'
    seal = dict(line.split(' ') for line in tail[2].decode().splitlines())
    key = base64.urlsafe_b64decode(seal['key'] + '=')
    assert hashlib.sha256(data[:at]).hexdigest() == seal['body'], 'the contents are not those that were sealed'
    assert signed(tail[2], base64.urlsafe_b64decode(tail[3] + b'=='), key), 'the seal is not signed by its key'
    assert expected in (None, seal['key']), 'it is sealed with another key'
    basis = json.loads(unquote(re.search(r'href="data:application/json;charset=utf-8,([^"]*)"', data.decode())[1]))['basis']
    place, (size, root) = basis['place'], seal['head'].split(':')
    entry = sha(f"{place['previous']} {place['n']} {place['text']}".encode())
    assert basis['runId'] == json.loads(place['text'])['run'] and place['head'] == seal['head'], 'the proof is of something else'
    found = root_by([bytes.fromhex(step) for step in place['path']], place['n'] - 1, int(size), sha(b'\0' + entry))
    assert found.hex() == root, 'the run does not lie in the history with this head'
    return f"Report {seal['report']} is as it was issued; sealed with {seal['key']}, archive head {seal['head']}."


if __name__ == '__main__':
    try:
        print(check(*sys.argv[1:3]))
    except (AssertionError, ValueError, KeyError, TypeError) as error:
        sys.exit(f'NOT as it was issued: {error}')
