def attack(seed, n, folder):
    return 0
