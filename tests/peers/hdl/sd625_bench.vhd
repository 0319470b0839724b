-- Runs sd625 from the middle of a field until FIELDS whole fields have passed, and writes what it really showed:
-- facts.txt ("name value" a line) and pictures.txt (a header a field, then one line of decimal codes an active line).
library ieee;
use ieee.std_logic_1164.all;
use std.textio.all;
use work.picture.all;

entity sd625_bench is
  generic (
    MASTER_FS : positive := 74074074;  -- 13.5 MHz (BT.601, references.md 3.1) to 1e-9
    CLOCKS : positive := 432;          -- 864 / 2
    LINES : positive := 312;
    INTERLACED : boolean := false;
    ACTIVE_X : natural := 88;
    ACTIVE_Y : natural := 36;
    WIDTH : positive := 320;
    HEIGHT : positive := 256;
    BITS : positive := 4;
    MODE : natural := 0;
    MOVING : boolean := false;
    XOR_SYNC : boolean := false;
    VSYNC_HALVES : positive := 6;
    RISING : boolean := true;
    BUS_DELAY_PS : natural := 0;
    CPU_DIVIDER : positive := 4;
    START_HALF : natural := 468;
    FIELDS : positive := 3;
    TAIL_LINES : positive := 20;
    HSYNC_HIGH : boolean := false;
    VSYNC_HIGH : boolean := false;
    CSYNC_HIGH : boolean := false;
    ENABLE_HIGH : boolean := true
  );
end entity;

architecture bench of sd625_bench is
  function level(high : boolean) return std_logic is
  begin
    if high then return '1'; else return '0'; end if;
  end function;

  signal master : std_logic := '0';
  signal running : boolean := true;
  signal pixel_clock, cpu_clock, hsync, vsync, csync, enable : std_logic;
  signal colour : std_logic_vector(BITS - 1 downto 0);
  signal field : integer;
  signal parity : natural;
begin
  -- The two halves differ by at most 1 fs, so that the period is exactly MASTER_FS.
  clock : process
  begin
    while running loop
      master <= '1';
      wait for MASTER_FS / 2 * 1 fs;
      master <= '0';
      wait for (MASTER_FS - MASTER_FS / 2) * 1 fs;
    end loop;
    wait;
  end process;

  source : entity work.sd625
    generic map (
      MASTER_FS, CLOCKS, LINES, INTERLACED, ACTIVE_X, ACTIVE_Y, WIDTH, HEIGHT, BITS, MODE, MOVING, XOR_SYNC,
      VSYNC_HALVES, RISING, BUS_DELAY_PS * 1 ps, CPU_DIVIDER, START_HALF,
      level(HSYNC_HIGH), level(VSYNC_HIGH), level(CSYNC_HIGH), level(ENABLE_HIGH))
    port map (master, pixel_clock, cpu_clock, hsync, vsync, csync, enable, colour, field, parity);

  witness : process
    file facts : text open write_mode is "facts.txt";
    file pictures : text open write_mode is "pictures.txt";

    procedure fact(name : string; value : integer) is
      variable row : line;
    begin
      write(row, name & " ");
      write(row, value);
      writeline(facts, row);
    end procedure;

    procedure write_picture(number, odd : integer; began : time) is
      variable row : line;
      variable frame_row, frame_height, salt : integer;
    begin
      write(row, string'("field "));
      write(row, number);
      write(row, string'(" parity "));
      write(row, odd);
      write(row, string'(" vertical_fs "));
      write(row, began / 1 ns);      -- an integer would overflow in fs: ns, then the rest
      write(row, string'(" "));
      write(row, (began - (began / 1 ns) * 1 ns) / 1 fs);
      writeline(pictures, row);
      salt := 0;
      if MOVING then salt := number + 2; end if;
      for y in 0 to HEIGHT - 1 loop
        frame_row := y;
        frame_height := HEIGHT;
        if INTERLACED then
          frame_row := 2 * y + odd;
          frame_height := 2 * HEIGHT;
        end if;
        for x in 0 to WIDTH - 1 loop
          write(row, code(x, frame_row, WIDTH, frame_height, BITS, MODE, salt));
          write(row, ' ');
        end loop;
        writeline(pictures, row);
      end loop;
    end procedure;

    variable odd : integer;
    variable began : time;
  begin
    fact("clock_fs", 2 * MASTER_FS);
    fact("clocks_per_line", CLOCKS);
    fact("lines_per_frame", LINES);
    fact("interlaced", boolean'pos(INTERLACED));
    fact("active_x", ACTIVE_X);
    fact("active_y", ACTIVE_Y);
    fact("active_width", WIDTH);
    fact("active_height", HEIGHT);
    fact("second_field_offset_halves", 1);
    fact("bits", BITS);
    fact("blanking_code", 0);
    wait until field = 0;
    for number in 0 to FIELDS - 1 loop
      odd := parity;
      began := now;
      wait until field = number + 1;
      write_picture(number, odd, began);
    end loop;
    wait for TAIL_LINES * CLOCKS * 2 * (MASTER_FS * 1 fs);
    running <= false;
    wait;
  end process;
end architecture;
