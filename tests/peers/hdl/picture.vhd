-- The pictures that the VHDL source shows, as pure functions of the place in the frame.
package picture is
  constant NOISE : integer := 0;  -- pseudo-random codes inside a one-pixel frame of all ones
  constant BARS  : integer := 1;  -- BT.601 100/0/100/0 colour bars as R'G'B' (references.md 3.2), no frame

  -- Colour code of pixel (x, y); y counts frame lines, salt makes one picture differ from the next.
  function code(x, y, width, height, bits, mode, salt : integer) return integer;
end package;

package body picture is
  constant PRIME : integer := 32749;  -- the largest prime below 2**15: products stay inside 31 bits

  function noise_code(x, y, bits, salt : integer) return integer is
    variable a, b, c : integer;
  begin
    a := (3 * x * x + 7919 * x + 10473 * y + 97 * salt + 1) mod PRIME;
    b := (a * a + 271 * x + 31 * salt) mod PRIME;
    c := (b * b + 83 * y) mod PRIME;
    return ((b mod 4096) * 4096 + (c mod 4096)) mod 2**bits;
  end function;

  -- White, yellow, cyan, green, magenta, red, blue, black: green leaves last, then red, then blue.
  function bar_code(bar, bits : integer) return integer is
    constant each : integer := bits / 3;
    constant full : integer := 2**each - 1;
    variable red, green, blue : integer := 0;
    variable rgb : integer;
  begin
    if bar mod 4 < 2 then red := full; end if;
    if bar < 4 then green := full; end if;
    if bar mod 2 = 0 then blue := full; end if;
    rgb := (red * 2**each + green) * 2**each + blue;
    if bits = 4 and rgb /= 0 then rgb := rgb + 8; end if;  -- RGBI: full brightness sets the intensity bit
    return rgb;
  end function;

  function code(x, y, width, height, bits, mode, salt : integer) return integer is
  begin
    if mode = BARS then return bar_code(8 * x / width, bits); end if;
    if x = 0 or y = 0 or x = width - 1 or y = height - 1 then return 2**bits - 1; end if;
    return noise_code(x, y, bits, salt);
  end function;
end package body;
