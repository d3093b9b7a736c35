#!/usr/bin/env python3
"""The difference of every dead time that two certificates of one bench have in common, with its expanded uncertainty (95 %), from the two files alone and
with nothing of the program that made them: python3 uncertain_difference.py A B, each a tables.json or a certificate.dcc.xml. Prints JSON.
Errors of one UUID are one error (JCGM 100:2008, 5.2.2); random ones of one estimate share its degrees of freedom (G.4.1); where a bound is a great part of
what is shared the coverage factor is that of a rectangle beside a normal distribution (G.1.3). Where the package `uncertainties` is at hand it is asked too."""
import json, math, sys
import xml.etree.ElementTree as ET

DCC, SI = '{https://ptb.de/dcc}', '{https://ptb.de/si}'


def from_json(path):
    document = json.load(open(path, encoding='utf8'))
    sources = document['errorSources']
    for table in document['tables']:
        if table['quantity'] != 'dead-time':
            continue
        axes = table['axes']
        across = len(axes[-1]['values']) if axes else 1
        scale = {'ms': 1e-3, 'us': 1e-6}[table['unit']]
        for i, cell in enumerate(table['cells']):
            if 'value' not in cell:
                continue
            at = {a['name']: a['values'][i // across if len(axes) == 2 and n == 0 else i % across] for n, a in enumerate(axes)}
            at.update({c['name']: c['value'] for c in table['conditions']})
            parts = [{'id': sources[p[0]]['uuid'], 'effect': p[1] * scale, 'bound': sources[p[0]]['rectangular'],
                      'dof': (p[2] if p[2] is not None else math.inf) if len(p) > 2 else math.inf, 'scale': p[3] if len(p) > 2 else None} for p in cell['parts']]
            yield key(table['of'], at), cell['unrounded'] * scale, parts


def numbers(node):
    return [float(v) for v in node.find(f'{SI}realListXMLList/{SI}valueXMLList').text.split()]


def name(node):
    return node.find(f'{DCC}name/{DCC}content').text


def from_dcc(path):
    root = ET.parse(path).getroot()
    items = {i.get('id'): i.find(f'{DCC}identifications/{DCC}identification/{DCC}value').text for i in root.iter(f'{DCC}item')}
    units = {'\\milli\\second': 1e-3, '\\micro\\second': 1e-6}
    for result in root.iter(f'{DCC}measurementResult'):
        data = result.find(f'{DCC}results/{DCC}result/{DCC}data')
        table, *others = data.findall(f'{DCC}list')
        *axes, values = table.findall(f'{DCC}quantity')
        if not name(values).startswith('Time-Offset X'):
            continue
        scale = units[values.find(f'{SI}realListXMLList/{SI}unitXMLList').text]
        fixed = {name(q): float(q.find(f'{SI}real/{SI}value').text) for q in data.findall(f'{DCC}quantity')}
        effects = []
        for q in (others[0] if others else []):
            about = q.find(f'{DCC}measurementMetaData/{DCC}metaData') if q.tag == f'{DCC}quantity' else None
            if about is None:
                continue
            uuid, *estimate = [r.text.removeprefix('urn:uuid:') for r in about.findall(f'{DCC}reference')]
            dof = about.find(f'{DCC}data/{DCC}quantity/{SI}real/{SI}value')
            effects.append((uuid, about.find(f'{DCC}convention').text == 'rectangular', math.inf if dof is None else float(dof.text), (estimate or [None])[0], numbers(q)))
        for i, value in enumerate(numbers(values)):
            at = {name(a): numbers(a)[i] for a in axes} | fixed
            yield key(items[result.get('refId')], at), value * scale, [{'id': u, 'effect': v[i] * scale, 'bound': b, 'dof': d, 'scale': s} for u, b, d, s, v in effects if v[i] != 0]


def key(of, at):
    return json.dumps([of, at['supply voltage at the injector'], at['differential pressure'], at['period']])


def beta_below(x, a, b):
    """Regularised incomplete beta function, as a continued fraction (DLMF 8.17.22)."""
    if x > (a + 1) / (a + b + 2):
        return 1 - beta_below(1 - x, b, a)
    fraction = 1.0
    for n in range(400, 0, -1):
        m = n // 2
        d = m * (b - m) * x / ((a + n - 1) * (a + n)) if n % 2 == 0 else -(a + m) * (a + b + m) * x / ((a + n - 1) * (a + n))
        fraction = 1 + d / fraction
    return math.exp(a * math.log(x) + b * math.log1p(-x) + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)) / a / fraction


def where(holds, low, high):
    """The point from which on it holds, by halving."""
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def normal_below(z):
    return math.erfc(-z / math.sqrt(2)) / 2


NORMAL = where(lambda k: normal_below(k) >= 0.975, 0, 10)


def student(dof):
    if dof >= 1e6:
        return NORMAL
    return where(lambda k: beta_below(dof / (dof + k * k), dof / 2, 0.5) <= 0.05, 0, 1e4)


def beside_bound(share):
    if share < 0.2:
        return NORMAL
    half, sd = share * math.sqrt(3), math.sqrt(max(0.0, 1 - share * share))
    if sd < 1e-3:
        return 0.95 * half
    integral = lambda z: z * normal_below(z) + math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
    return where(lambda k: sd / (2 * half) * (integral((k + half) / sd) - integral((k - half) / sd)) >= 0.975, 0, 10)


def stated(parts):
    """Combined standard uncertainty and expanded uncertainty of independent parts."""
    estimates, shared, bound = {}, 0.0, 0.0
    for p in parts:
        square = p['effect'] ** 2
        if p['scale'] is None:
            shared += square
            bound = max(bound, square if p['bound'] else 0.0)
        else:
            before, dof = estimates.get(p['scale'], (0.0, p['dof']))
            estimates[p['scale']] = (before + square, dof)
    random = sum(s for s, _ in estimates.values())
    u2 = shared + random
    left = sum(s * s / dof for s, dof in estimates.values() if s > 0)
    factor = student(u2 * u2 / left if left > 0 else math.inf)
    return math.sqrt(u2), factor * (beside_bound(math.sqrt(bound / u2)) / NORMAL if bound > 0 else 1) * math.sqrt(u2)


def by_library(first, second):
    """The same difference by the package `uncertainties`: standard uncertainty alone, it knows no degrees of freedom. None: it is not at hand."""
    try:
        from uncertainties import ufloat
    except ImportError:
        return None
    errors = {p['id']: ufloat(0, 1) for p in first[1] + second[1]}
    total = lambda value, parts: value + sum(p['effect'] * errors[p['id']] for p in parts)
    return (total(*second) - total(*first)).std_dev


def main(a, b):
    read = lambda path: {k: (v, p) for k, v, p in (from_dcc if path.endswith('.xml') else from_json)(path)}
    first, second = read(a), read(b)
    rows = []
    for at in first.keys() & second.keys():
        (x, p), (y, q) = first[at], second[at]
        sums = {}
        for parts, sign in ((q, 1), (p, -1)):
            for part in parts:
                known = sums.setdefault(part['id'], dict(part, effect=0.0))
                known['effect'] += sign * part['effect']
        u, expanded = stated(sums.values())
        rows.append({'at': json.loads(at), 'difference': y - x, 'u': u, 'U': expanded, 'shared': len({s['id'] for s in p} & {s['id'] for s in q}), 'library': by_library((x, p), (y, q))})
    print(json.dumps(rows))


main(*sys.argv[1:3])
