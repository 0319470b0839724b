-- A 625-line-family video source: field by field, half-line by half-line.
--
-- Pulse widths are those of ITU-R BT.470-6 Tables 1-1 and 1-2 (references.md 1.2, 1.3): line sync 4.7 us,
-- equalising 2.35 us, broad 27.3 us, five (2.5 H) of each; rounded to whole pixel clocks. The 312-line form sends
-- six half-lines before the broad pulses so that a field is whole lines (references.md 2.2, Linux comment).
--
-- The master clock runs at twice the pixel clock, so that half of an odd line length is a whole number of it.
-- A field starts with its first broad pulse (O_V); a line starts with the leading edge of line sync (O_H).
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;
use work.picture.all;

entity sd625 is
  generic (
    MASTER_FS : positive;          -- master clock period, fs
    CLOCKS : positive;             -- pixel clocks in a line = master clocks in half a line
    LINES : positive;              -- lines in a frame
    INTERLACED : boolean;          -- true: LINES is odd, two fields of LINES / 2 lines
    ACTIVE_X, ACTIVE_Y : natural;  -- first active pixel after O_H in pixels, first active line after O_V in lines
    WIDTH, HEIGHT : positive;      -- active pixels, active lines in one field
    BITS : positive;
    MODE : natural;
    MOVING : boolean;              -- true: every field has another picture
    XOR_SYNC : boolean;            -- composite sync is hsync xor vsync, not equalising and broad pulses
    VSYNC_HALVES : positive;       -- width of separate vertical sync, half-lines
    RISING : boolean;              -- the bus changes on the rising edge of the pixel clock
    BUS_DELAY : delay_length;      -- from that edge to the bus (and display enable)
    CPU_DIVIDER : positive;        -- cpu clock = pixel clock / CPU_DIVIDER (even)
    START_HALF : natural;          -- half-line of the frame at which time starts
    HSYNC_LEVEL, VSYNC_LEVEL, CSYNC_LEVEL, ENABLE_LEVEL : std_logic
  );
  port (
    master : in std_logic;
    pixel_clock, cpu_clock, hsync, vsync, csync, enable : out std_logic;
    colour : out std_logic_vector(BITS - 1 downto 0) := (others => '0');
    field : out integer := -1;     -- counts O_V since time started
    parity : out natural := 0      -- 0: O_V coincides with line sync (BT.470 Fig. 2-1 note 2), 1: midway
  );
end entity;

architecture behaviour of sd625 is
  -- Width in master clocks: a whole number of pixel clocks.
  function clocks_in(microseconds : real) return natural is
  begin
    return 2 * integer(microseconds * 1.0e9 / real(2 * MASTER_FS));
  end function;

  function halves_of_field return positive is
  begin
    if INTERLACED then return LINES; else return 2 * LINES; end if;
  end function;

  function equalising_before return positive is
  begin
    if INTERLACED then return 5; else return 6; end if;
  end function;

  function level(active : boolean; to_level : std_logic) return std_logic is
  begin
    if active then return to_level; else return not to_level; end if;
  end function;

  constant HALVES : positive := halves_of_field;
  constant LINE_SYNC : positive := clocks_in(4.7);
  constant EQUALISING : positive := clocks_in(2.35);
  constant BROAD : positive := clocks_in(27.3);

  signal half : natural := START_HALF;  -- half-line in the frame
  signal place : natural := 0;          -- master clock in the half-line
  signal pixels : natural := 0;         -- pixel clocks so far, for the divided clock
begin
  assert INTERLACED = (LINES mod 2 = 1) or not INTERLACED report "interlace needs an odd line count" severity failure;

  scan : process (master)
    variable in_field, first_half, row, frame_row, frame_height : integer;
    variable in_line, x, salt : natural;
    variable odd_field, line_sync_on, vertical_on, active : boolean;
  begin
    if rising_edge(master) then
      odd_field := half >= HALVES;
      in_field := half mod HALVES;
      in_line := (half mod 2) * CLOCKS + place;

      if in_field = 0 and place = 0 then
        field <= field + 1;
        parity <= boolean'pos(odd_field);
      end if;

      line_sync_on := in_line < LINE_SYNC;
      vertical_on := in_field < VSYNC_HALVES;
      hsync <= level(line_sync_on, HSYNC_LEVEL);
      vsync <= level(vertical_on, VSYNC_LEVEL);
      if XOR_SYNC then
        csync <= level(line_sync_on xor vertical_on, CSYNC_LEVEL);
      elsif in_field < 5 then
        csync <= level(place < BROAD, CSYNC_LEVEL);
      elsif in_field < 10 or in_field >= HALVES - equalising_before then
        csync <= level(place < EQUALISING, CSYNC_LEVEL);
      else
        csync <= level(line_sync_on, CSYNC_LEVEL);
      end if;

      pixel_clock <= level(in_line mod 2 = 0, level(RISING, '1'));

      if in_line mod 2 = 0 then
        x := in_line / 2;
        frame_height := HEIGHT;
        first_half := 2 * ACTIVE_Y;
        if odd_field then first_half := first_half + 1; end if;
        row := (in_field - half mod 2 - first_half) / 2;
        frame_row := row;
        if INTERLACED then
          frame_height := 2 * HEIGHT;
          frame_row := 2 * row + boolean'pos(odd_field);
        end if;
        active := x >= ACTIVE_X and x < ACTIVE_X + WIDTH
          and in_field - half mod 2 >= first_half and row < HEIGHT;
        salt := 0;
        if MOVING then salt := field + 2; end if;
        if active then
          colour <= transport std_logic_vector(to_unsigned(
            code(x - ACTIVE_X, frame_row, WIDTH, frame_height, BITS, MODE, salt), BITS)) after BUS_DELAY;
        else
          colour <= transport (colour'range => '0') after BUS_DELAY;
        end if;
        enable <= transport level(active, ENABLE_LEVEL) after BUS_DELAY;
        pixels <= (pixels + 1) mod CPU_DIVIDER;
        cpu_clock <= level(pixels < CPU_DIVIDER / 2, '1');
      end if;

      if place < CLOCKS - 1 then
        place <= place + 1;
      else
        place <= 0;
        half <= (half + 1) mod (2 * LINES);
      end if;
    end if;
  end process;
end architecture;
