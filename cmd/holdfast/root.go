package main

import "github.com/spf13/cobra"

// newRoot builds the command tree. Each command lives in its own file cmd_<name>.go.
func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "holdfast",
		Short: "Test rebuilt DEF supply units on a CAN bus, and prove it",
		Long: `Holdfast runs a scripted test on a rebuilt DEF (AUS 32) supply unit over a SocketCAN
adapter, computes what the unit does with stated uncertainty, decides pass, fail or
undecided, names the likely cause and keeps the record. --bus sim runs it all on a
simulated bench.` + exitHelp,
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	root.AddCommand(
		newSimCommand(),
		newCampaignCommand(),
		newCheckCommand(),
		newDecodeCommand(),
		newRunCommand(),
		newTortureCommand(),
		newRecoverCommand(),
		newBusCommand(),
		newSpnCommand(),
		newScanCommand(),
		newRequestCommand(),
		newFaultsCommand(),
		newRecordCommand(),
		newPlayCommand(),
		newReportCommand(),
		newHistoryCommand(),
		newDemoCommand(),
		newExportCommand(),
		newSchemaCommand(),
		newReleaseCommand(),
		newIntakeCommand(),
		newFoundCommand(),
		newCompareCommand(),
		newTrendCommand(),
		newCausesCommand(),
		newGradeCommand(),
		newVerifyCommand(),
		newStoreCommand(),
		newWatchCommand(),
	)
	return root
}
