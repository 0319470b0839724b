-- What GHDL can put into a VCD: all nine levels, vectors counted up and down, an integer, a boolean.
library ieee;
use ieee.std_logic_1164.all;
use ieee.numeric_std.all;
entity writer is end;
architecture sim of writer is
  signal clock : std_logic := '0';
  signal count : unsigned(3 downto 0) := "0000";
  signal rising : std_logic_vector(0 to 2) := "UXZ";
  signal never : std_logic;
  signal tristate : std_logic;
  signal nine : std_logic_vector(8 downto 0) := "UX01ZWLH-";
  signal flag : boolean := false;
  signal total : integer := -1;
begin
  clock <= not clock after 62500 ps;
  tristate <= 'Z' when count(3) = '1' else count(0);
  process (clock) begin
    if rising_edge(clock) then
      count <= count + 1;
      flag <= not flag;
      nine <= nine(7 downto 0) & nine(8);
      total <= total + 3;
      rising <= std_logic_vector(count(2 downto 0));
    end if;
  end process;
  process begin
    wait for 5 us;
    std.env.finish;
  end process;
end;
