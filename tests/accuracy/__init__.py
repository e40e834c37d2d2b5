"""How often the program is right, on scenes whose truth is exact: the scores, the table, and the floors."""
