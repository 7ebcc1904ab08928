def add(p): pass
def run(a): return 0
