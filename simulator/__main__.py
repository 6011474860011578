from simulator.cli import main

main()
