package main

import "github.com/spf13/cobra"

// The help keeps the order in which newRoot adds commands.
func init() { cobra.EnableCommandSorting = false }

// newRoot builds the command tree, in the order a unit goes through the shop. Each command lives
// in its own file cmd_<name>.go.
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
	root.PersistentPreRun = func(cmd *cobra.Command, _ []string) { sayCutOff(cmd) }
	root.SetFlagErrorFunc(explainFlag)
	root.Version = version
	root.SetVersionTemplate("holdfast {{.Version}}\n")
	group(root, "bench", "On the bench:", newRunCommand(), newCheckCommand(), newVerifyBenchCommand(),
		newVerifyNodeCommand(), newSimCommand(), newBusCommand(), newRecoverCommand())
	group(root, "unit", "The unit in the shop:", newIntakeCommand(), newFoundCommand(),
		newReleaseCommand(), newHistoryCommand(), newCompareCommand())
	group(root, "record", "The records:", newReportCommand(), newGradeCommand(), newVerifyCommand(),
		newTrendCommand(), newCausesCommand(), newExportCommand(), newStoreCommand(), newKeyCommand())
	group(root, "bus", "On a J1939 bus, or from a recording of one:", newWatchCommand(),
		newDecodeCommand(), newScanCommand(), newFaultsCommand(), newRequestCommand(),
		newRecordCommand(), newPlayCommand(), newSpnCommand())
	group(root, "proof", "Trying it out, and testing Holdfast itself:", newDemoCommand(),
		newCampaignCommand(), newTortureCommand(), newSchemaCommand())
	return root
}

// group puts commands under one heading of the help.
func group(root *cobra.Command, id, title string, commands ...*cobra.Command) {
	root.AddGroup(&cobra.Group{ID: id, Title: title})
	for _, c := range commands {
		c.GroupID = id
	}
	root.AddCommand(commands...)
}
